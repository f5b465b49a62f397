use super::Derived;
use serrata_words::LeftOut;

/// What goes into a package.
#[derive(Debug, Clone, Default)]
pub struct Contents {
    /// Who asked for it.
    pub who: String,
    /// Number of the visit.
    pub visit_id: i64,
    /// When, microseconds since 1970 UTC.
    pub made_utc_us: i64,
    /// Whether the pictures are complete, in words.
    pub complete: String,
    /// Originals: SHA-256 of the file, its name as it came, the frames that it holds.
    pub originals: Vec<(String, String, Vec<i64>)>,
    /// Everything else.
    pub entries: Vec<Entry>,
    /// DICOM objects made of the pictures.
    pub objects: Vec<Derived>,
    /// Frames that are not in it.
    pub left_out: Vec<LeftOut>,
    /// Whether it holds copies that do not name the patient, in place of originals.
    pub deidentified: bool,
}

/// A file that is made for a package.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Path in the package.
    pub path: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// The paper on top of originals.
const README: &str = "\
What this folder holds
======================

originals/          the pictures as the instrument stored them, byte for byte
frames.csv          one line a picture: eye, kind, gaze, when, result, why
appraisals.jsonl    what was seen in each picture (serrata.appraisal/1, one object a line)
completeness.json   what was ordered, how each view was met, and what could not be done and why
imaging-record.pdf  the same for people: what was done, what could not be done, pictures, charts (PDF/A)
dicom/              made of the pictures as DICOM objects: the paper (Encapsulated PDF), the choice of pictures (Key Object
                    Selection), what was seen and measured (Comprehensive SR), pictures once more with labels that
                    were corrected, montages
visit.json          orders, answers to cautions, the record of the needle, light, notes
record.csv          who did what, and when
dye-R-fa/ ...       dye runs that were read: curves, times with intervals, pictures of the phases; regions.json says
                    what was proposed and what a named person made of it
montage-R/ ...      pictures put together, with the place of each frame
manifest.json       every file with its length and SHA-256; frames that are not here, and why

To prove that nothing is missing or changed:  serrata verify FOLDER

Results speak of the quality of pictures. They advise; they are no diagnosis. What the pictures mean is left to the
reader. Sizes in mm stand with the radius of the eye that they assume and a 95 % interval.
The pictures and papers name the patient: handle them by your local rules.
";

/// The paper on top of copies.
const README_COPIES: &str = "\
What this folder holds
======================

copies/             the pictures without what names the patient (DICOM PS3.15, basic profile, dates moved by whole days)
changes.json        what was changed in each, what was left out, and why
frames.csv          one line a picture: eye, kind, gaze, when (moved), result, why
appraisals.jsonl    what was seen in each picture (serrata.appraisal/1, one object a line)
completeness.json   what was ordered, how each view was met, and what could not be done and why
dye-R-fa/ ...       dye runs that were read: curves, times with intervals, pictures of the phases, regions
montage-R/ ...      pictures put together, with the place of each frame
manifest.json       every file with its length and SHA-256; frames that are not here, and why

To prove that nothing is missing or changed:  serrata verify FOLDER

All dates of a patient are moved by the same number of whole days; the time of day, and with it the clock of a dye run,
is true. The vessels of a retina are those of one person: no profile takes that out. Handle the pictures by your local
rules. Results speak of the quality of pictures. They advise; they are no diagnosis.
";

impl Contents {
    /// The paper on top.
    #[must_use]
    pub const fn readme(&self) -> &'static str {
        if self.deidentified { README_COPIES } else { README }
    }

    /// Paths of the originals in the package, in their order: a number, so that no two are one, and a name that any system takes. A copy
    /// has its number alone, for a file's name may be a person's.
    #[must_use]
    pub fn original_paths(&self) -> Vec<String> {
        let path = |(k, (_, name, _)): (usize, &(String, String, Vec<i64>))| match self.deidentified {
            true => format!("copies/{:03}.dcm", k + 1),
            false => format!("originals/{:03}-{}", k + 1, plain(name)),
        };
        self.originals.iter().enumerate().map(path).collect()
    }
}

/// A file's name that any system takes: letters, digits, dot, dash and underscore; at most 80 of them, from the end.
fn plain(name: &str) -> String {
    let clean: String =
        name.chars().map(|c| if c.is_ascii_alphanumeric() || "._-".contains(c) { c } else { '_' }).collect();
    let from = clean.len().saturating_sub(80);
    let end = clean[from..].trim_start_matches('.').to_owned();
    if end.is_empty() { "file".to_owned() } else { end }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn names_stay_within_their_folder(name in ".{0,120}") {
            let p = plain(&name);
            prop_assert!(!p.is_empty() && p.len() <= 80);
            prop_assert!(!p.starts_with('.') && !p.contains(['/', '\\', ':']));
        }
    }

    #[test]
    fn equal_names_become_two_files() {
        let c = Contents {
            originals: vec![
                ("a".into(), "x/../é.dcm".into(), vec![1]),
                ("b".into(), "x/../é.dcm".into(), vec![2]),
            ],
            ..Contents::default()
        };
        assert_eq!(
            c.original_paths(),
            ["originals/001-x_.._.dcm", "originals/002-x_.._.dcm"].map(|s| s.replace("_.dcm", "__.dcm"))
        );
    }
}
