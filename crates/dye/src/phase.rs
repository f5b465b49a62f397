use serrata_words::{DyePhase, Modality};

/// Times that phases are told by, seconds since the injection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Marks {
    pub choroid: f64,
    pub artery: f64,
    /// First dye in the veins.
    pub vein: f64,
    /// Veins full.
    pub full: f64,
}

/// The phase at a second. Fluorescein is told by what its vessels hold, then by the clock: veins are brightest about 30 s
/// and recirculation comes within minutes (lecture notes quoted in the reference brief), mid from 1 min, late from 5 min
/// (common practice, no source); ICG by the clock alone, early to 3 min, mid to 15 min (from memory).
#[must_use]
pub(crate) fn at(marks: &Marks, modality: Modality, seconds: f64) -> DyePhase {
    if seconds < marks.choroid {
        DyePhase::Before
    } else if modality == Modality::Icg {
        if seconds < 180.0 {
            DyePhase::Early
        } else if seconds < 900.0 {
            DyePhase::Mid
        } else {
            DyePhase::Late
        }
    } else if seconds < marks.artery {
        DyePhase::Choroidal
    } else if seconds < marks.vein {
        DyePhase::Arterial
    } else if seconds < marks.full {
        DyePhase::LaminarVenous
    } else if seconds < 60.0 {
        DyePhase::Venous
    } else if seconds < 300.0 {
        DyePhase::Mid
    } else {
        DyePhase::Late
    }
}
