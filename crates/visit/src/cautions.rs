//! Cautions: questions whose answers staff keep. Never a clearance.

use serrata_words::{Modality, View};

/// The usual questions before the views of a visit, in the order in which they come up. Common practice; the
/// clinic's own protocol comes first.
///
/// ```
/// use serrata_words::{Gaze, Modality, View};
/// let q = serrata_visit::cautions(&[View::default_of(Modality::Fa, Gaze::Primary)]);
/// assert!(q.iter().any(|q| q.contains("prescriber")));
/// ```
#[must_use]
pub fn cautions(views: &[View]) -> Vec<&'static str> {
    let mut asked = vec![
        "Two identifiers said by the patient and compared, before the first frame?",
        "Light-sensitive, photosensitising drugs, or seizures with flicker? Then the clinician decides first.",
    ];
    if views.iter().any(|v| matches!(v.modality, Modality::Fa | Modality::Icg)) {
        asked.push(
            "Ever hives, swelling, wheeze or collapse after a dye? Then stop, and tell the prescriber before anything is drawn up.",
        );
        asked.push("Ever nausea or vomiting after a dye? Note it.");
        asked.push(
            "Pregnant or nursing, kidney, liver or heart disease, a protected arm? Tell the prescriber.",
        );
    }
    if views.iter().any(|v| v.modality == Modality::Faf) {
        asked.push("Autofluorescence comes before dye, drops and gel.");
    }
    asked
}
