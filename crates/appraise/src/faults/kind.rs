//! The picture is of another kind than the one it was looked at as.

use crate::scene::Scene;
use serrata_words::{Finding, FindingKind, Modality};

/// Only what is certain: a grey picture is no colour picture, and dye, autofluorescence and infrared give no colours.
pub(super) fn wrong_modality(scene: &Scene<'_>) -> Option<Finding> {
    let coloured = scene.red.is_some();
    let wrong = match scene.modality {
        Modality::Colour => !coloured,
        Modality::Faf | Modality::Fa | Modality::Icg | Modality::Infrared => coloured,
        Modality::Red | Modality::Green => false,
    };
    wrong.then(|| Finding::new(FindingKind::WrongModality, 0.9, 1.0))
}
