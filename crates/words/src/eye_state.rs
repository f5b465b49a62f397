//! What is known of the eye and of the person today.

use serde::{Deserialize, Serialize};

/// State of the eye today, as a person noted it. Everything is unknown unless noted.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct EyeState {
    /// The pupil was dilated with drops.
    pub dilated: Option<bool>,
    /// The pupil is small all the same.
    pub small_pupil: bool,
    /// Drops that colour, or gel, are on the eye: they spoil autofluorescence.
    pub drops_or_gel: bool,
    /// Cataract or other clouded media were noted.
    pub clouded_media: bool,
    /// A scar or swelling of the cornea was noted.
    pub cornea: bool,
    /// Gas in the eye.
    pub gas: bool,
    /// Oil in the eye.
    pub oil: bool,
    /// Lens implant.
    pub lens_implant: bool,
    /// No lens at all.
    pub no_lens: bool,
    /// A contact lens is worn.
    pub lens_worn: bool,
    /// Lens surgery, gas or oil since the axial length was measured: a new one is needed before any mm.
    pub measured_before_surgery: bool,
    /// Recent surgery or injection, bleb, ulcer, red or discharging eye, or shingles: nobody touches the lids.
    pub no_touch: bool,
    /// The red or discharging eye: the clinic's own line for wiping.
    pub red_eye: bool,
    /// Drooping lid.
    pub ptosis: bool,
    /// The eye trembles (nystagmus).
    pub nystagmus: bool,
    /// It cannot hold a target: light or sound guides the gaze.
    pub no_fixation: bool,
    /// How far the person can turn this eye, in degrees, or null where the usual range is assumed.
    pub gaze_range_deg: Option<u8>,
    /// Child, learning disability, pain or light sensitivity: fewer tries.
    pub spare: bool,
    /// Retina that does not light up as it should, for example a light-sensitive dystrophy: blue light sparingly.
    pub light_sensitive: bool,
    /// What worked last time, one sentence each, newest first.
    pub worked: Vec<String>,
}

/// State of the person today, as a person noted it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PersonState {
    /// A child.
    pub child: bool,
    /// Younger than two years, or an infant in any case.
    pub infant: bool,
    /// Learning disability or dementia.
    pub learning_disability: bool,
    /// In pain.
    pub pain: bool,
    /// Light hurts.
    pub photophobia: bool,
    /// In a wheelchair, or cannot be moved to the chin rest easily.
    pub wheelchair: bool,
    /// Trembles.
    pub tremor: bool,
    /// Hard of hearing or deaf: show, do not say.
    pub deaf: bool,
    /// Takes a drug that sensitises to light, or had photodynamic therapy lately.
    pub photosensitised: bool,
    /// Seizures with flicker: the clinician decides, and no bursts.
    pub seizures: bool,
    /// Language for instructions, where another one is needed.
    pub language: Option<String>,
    /// What worked last time with this person.
    pub worked: Vec<String>,
}
