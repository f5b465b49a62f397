//! What is known of the eye today.

use serde::{Deserialize, Serialize};

/// State of the eye today, as a person noted it. Everything is unknown unless noted.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct EyeState {
    /// The pupil was dilated with drops.
    pub dilated: Option<bool>,
    /// Cataract or other clouded media were noted.
    pub clouded_media: bool,
    /// Gas in the eye.
    pub gas: bool,
    /// Oil in the eye.
    pub oil: bool,
    /// Lens implant.
    pub lens_implant: bool,
    /// A contact lens is worn.
    pub lens_worn: bool,
    /// Recent surgery or injection, bleb, ulcer, red or discharging eye, or shingles: nobody touches the lids.
    pub no_touch: bool,
    /// Drooping lid.
    pub ptosis: bool,
    /// Child, learning disability, pain or light sensitivity: fewer tries.
    pub spare: bool,
}
