//! Coded terms of DICOM that are read and written, with their context groups (PS3.16).

use crate::data::value::Code;
use serrata_words::{Eye, Gaze, Modality};

/// A code as it is written: value, scheme, meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Term(pub &'static str, pub &'static str, pub &'static str);

impl Term {
    /// Whether an object's code is this one. SNOMED CT is also accepted under its older designators, as the numbers
    /// are the same.
    pub(crate) fn is(&self, code: &Code) -> bool {
        code.value == self.0 && (code.scheme == self.1 || (self.1 == "SCT" && code.scheme == "SNM3"))
    }
}

/// Gaze (CID 4201): the patient's right and left.
pub(crate) const GAZES: &[(Gaze, Term)] = &[
    (Gaze::Primary, Term("408744005", "SCT", "Primary gaze")),
    (Gaze::Up, Term("255533007", "SCT", "Upward gaze")),
    (Gaze::Down, Term("255521002", "SCT", "Downgaze")),
    (Gaze::Right, Term("255531009", "SCT", "Right gaze")),
    (Gaze::Left, Term("255530005", "SCT", "Left gaze")),
    (Gaze::UpRight, Term("255526007", "SCT", "Right upgaze")),
    (Gaze::DownRight, Term("255524005", "SCT", "Right downgaze")),
    (Gaze::UpLeft, Term("255525006", "SCT", "Left upgaze")),
    (Gaze::DownLeft, Term("255523004", "SCT", "Left downgaze")),
];

/// Side of the eye (CID 244).
pub(crate) const SIDES: &[(Eye, Term)] =
    &[(Eye::R, Term("24028007", "SCT", "Right")), (Eye::L, Term("7771000", "SCT", "Left"))];

/// Contrast agents (CID 4200).
pub(crate) const AGENTS: &[(Modality, Term)] = &[
    (Modality::Fa, Term("350086004", "SCT", "Fluorescein")),
    (Modality::Icg, Term("7292004", "SCT", "Indocyanine green")),
];

/// Route of administration (CID 11).
pub(crate) const INTRAVENOUS: Term = Term("47625008", "SCT", "Intravenous route");

/// Anatomic regions (CID 4209).
pub(crate) const EYE: Term = Term("81745001", "SCT", "Eye");
/// Retina.
pub(crate) const RETINA: Term = Term("5665001", "SCT", "Retina");

/// Device type (CID 4202).
pub(crate) const SCANNING_LASER: Term = Term("392001008", "SCT", "Scanning Laser Ophthalmoscope");

/// Channels (CID 4206).
pub(crate) const RED: Term = Term("371240000", "SCT", "Red");
/// Green light.
pub(crate) const GREEN: Term = Term("371246006", "SCT", "Green");
/// Infrared light.
pub(crate) const INFRARED: Term = Term("414497003", "SCT", "Infrared");

/// The word of a code in a table.
pub(crate) fn find<T: Copy>(table: &[(T, Term)], code: &Code) -> Option<T> {
    table.iter().find(|(_, term)| term.is(code)).map(|(word, _)| *word)
}

/// The code of a word in a table.
pub(crate) fn term<T: PartialEq>(table: &[(T, Term)], word: &T) -> Option<Term> {
    table.iter().find(|(w, _)| w == word).map(|(_, term)| *term)
}
