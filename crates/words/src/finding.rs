//! Faults in a frame.

use crate::region::{Region, RegionLike};
use serde::{Deserialize, Serialize};

crate::words! {
    /// One kind of fault.
    FindingKind("finding") {
        /// The lid came down during the sweep.
        Blink = "blink",
        /// A lid covers part of the retina.
        Lid = "lid",
        /// Lashes cover part of the retina.
        Lash = "lash",
        /// The eye was too near: lids, lashes and face come in.
        TooClose = "too_close",
        /// The eye was too far: iris or its shadow comes in.
        TooFar = "too_far",
        /// The pupil was off the axis: one side is lost.
        OffCentre = "off_centre",
        /// The eye moved during the sweep: vessels break at one row, or all lean over several.
        Motion = "motion",
        /// Out of focus.
        Blur = "blur",
        /// Scattered light veils the retina.
        Haze = "haze",
        /// Too dark.
        Underexposed = "underexposed",
        /// Burnt out.
        Overexposed = "overexposed",
        /// A reflection of the instrument's own light.
        Reflex = "reflex",
        /// The iris throws a shadow.
        IrisShadow = "iris_shadow",
        /// A floater's shadow.
        Floater = "floater",
        /// A smear on the front surface.
        Smear = "smear",
        /// Dust in the instrument.
        Dust = "dust",
        /// The label names the other eye.
        WrongEye = "wrong_eye",
        /// The label names another kind of picture.
        WrongModality = "wrong_modality",
        /// There is no retina in the picture.
        NoRetina = "no_retina",
    }
}

impl FindingKind {
    /// The fault as screens write it. Example: `FindingKind::TooClose.screen()` is `"too near"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::Blink => "blink",
            Self::Lid => "lid in the way",
            Self::Lash => "lashes in the way",
            Self::TooClose => "too near",
            Self::TooFar => "too far",
            Self::OffCentre => "off centre",
            Self::Motion => "eye moved",
            Self::Blur => "not sharp",
            Self::Haze => "haze",
            Self::Underexposed => "too dark",
            Self::Overexposed => "too bright",
            Self::Reflex => "reflection",
            Self::IrisShadow => "shadow of the iris",
            Self::Floater => "floater",
            Self::Smear => "smear",
            Self::Dust => "dust",
            Self::WrongEye => "labelled as the other eye",
            Self::WrongModality => "labelled as another kind",
            Self::NoRetina => "no retina",
        }
    }
}

crate::words! {
    /// A side of the picture (not of the eye).
    Side("side") {
        /// The upper edge.
        Top = "top",
        /// The lower edge.
        Bottom = "bottom",
        /// The left edge.
        Left = "left",
        /// The right edge.
        Right = "right",
    }
}

/// One fault with its place, size and score, as seen in the pixels alone.
///
/// Pixels are those of the full frame, edges at integers; `fraction` is the share of the aperture, 0 to 1;
/// `score` says how sure and how grave, 0 to 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// What it is.
    pub kind: FindingKind,
    /// How sure and how grave, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub score: f64,
    /// Share of the aperture that is touched, 0 to 1.
    #[serde(serialize_with = "crate::round::share")]
    pub fraction: f64,
    /// Rows (or, where the slow axis is horizontal, columns) that are touched, half-open.
    #[serde(default)]
    pub rows: Option<[u32; 2]>,
    /// When it began, in ms from the start of the sweep; null without a known instrument.
    #[serde(default, serialize_with = "crate::round::pixel_opt")]
    pub onset_ms: Option<f64>,
    /// How long it lasted, in ms; null without a known instrument.
    #[serde(default, serialize_with = "crate::round::pixel_opt")]
    pub duration_ms: Option<f64>,
    /// How far the picture moved in a jump of the eye: to the right and down, in pixels of the full frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shift_px: Option<[f64; 2]>,
    /// The size of that jump, degrees at the sphere's centre in the picture's middle; null without a known instrument.
    #[serde(default, skip_serializing_if = "Option::is_none", serialize_with = "crate::round::share_opt")]
    pub shift_deg: Option<f64>,
    /// The side of the picture that it comes from, where it has one.
    #[serde(default)]
    pub side: Option<Side>,
    /// Where it is.
    #[serde(flatten)]
    pub place: Region,
}

impl Finding {
    /// A finding with a score and a share, without place. Both are cut to 0..=1.
    ///
    /// ```
    /// use serrata_words::{Finding, FindingKind};
    /// assert_eq!(Finding::new(FindingKind::Blur, 1.2, 0.5).score, 1.0);
    /// ```
    #[must_use]
    pub fn new(kind: FindingKind, score: f64, fraction: f64) -> Self {
        let cut = |v: f64| if v.is_nan() { 0.0 } else { v.clamp(0.0, 1.0) };
        Self {
            kind,
            score: cut(score),
            fraction: cut(fraction),
            rows: None,
            onset_ms: None,
            duration_ms: None,
            shift_px: None,
            shift_deg: None,
            side: None,
            place: Region::default(),
        }
    }
}

impl RegionLike for Finding {
    fn region(&self) -> &Region {
        &self.place
    }
}
