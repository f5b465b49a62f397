use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::OnceLock;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook, FontInfo};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World, WorldExt};
use typst_kit::fonts::{FontPath, FontStore};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// What is printed.
#[derive(Debug, Clone)]
pub struct Paper<'a> {
    /// The template, in Typst.
    pub template: &'a str,
    /// What it says, as `/data.json`.
    pub data: &'a Value,
    /// Pictures by the names that the data has for them.
    pub pictures: BTreeMap<String, Vec<u8>>,
    /// When it is made, UTC: year, month, day, hour, minute, second.
    pub made: [u16; 6],
}

/// Why a paper cannot be printed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// No face on this machine has a character that the paper needs.
    #[error(
        "no font on this machine has the character {character:?} of \"{word}\"; install one that has its script"
    )]
    NoFont {
        /// The character.
        character: char,
        /// The word that it stands in.
        word: String,
    },
    /// The template cannot be set.
    #[error("the template cannot be set: {detail}")]
    Template {
        /// Line and reason.
        detail: String,
    },
    /// What came out is not what PDF/A asks for.
    #[error("the paper cannot be written as PDF/A: {detail}")]
    Pdf {
        /// The reason.
        detail: String,
    },
}

/// Faces that are embedded (open licences: OFL and the like), then those of the system, for scripts that the first lack.
fn fonts() -> &'static FontStore {
    static ALL: OnceLock<FontStore> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut all = FontStore::new();
        all.extend(typst_kit::fonts::embedded());
        all.extend(of_the_system());
        all
    })
}

/// The faces of this machine, loaded only where one is used.
fn of_the_system() -> Vec<(FontPath, FontInfo)> {
    let mut found = fontdb::Database::new();
    found.load_system_fonts();
    let face = |face: &fontdb::FaceInfo| {
        let (fontdb::Source::File(path) | fontdb::Source::SharedFile(path, _)) = &face.source else {
            return None;
        };
        let info = found.with_face_data(face.id, FontInfo::new)??;
        Some((FontPath { path: path.clone(), index: face.index }, info))
    };
    found.faces().filter_map(face).collect()
}

/// The world of one paper: a template, its data, its pictures; no network, no disk, no clock.
struct Desk<'a> {
    library: LazyHash<Library>,
    main: Source,
    data: Bytes,
    pictures: &'a BTreeMap<String, Vec<u8>>,
}

impl World for Desk<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        fonts().book()
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let path = id.vpath().get_without_slash().to_owned();
        if path == "data.json" {
            return Ok(self.data.clone());
        }
        self.pictures.get(&path).map(|b| Bytes::new(b.clone())).ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        fonts().font(index)
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Prints a paper as PDF/A-2b. The same paper gives the same bytes on one machine.
///
/// # Errors
/// [`ReportError`], one sentence: a script that no font has, a template that cannot be set.
pub fn print(paper: &Paper<'_>) -> Result<Vec<u8>, ReportError> {
    readable(paper.data)?;
    let pdf = |detail: String| ReportError::Pdf { detail };
    let path = VirtualPath::new("main.typ").map_err(|e| pdf(format!("{e:?}")))?;
    let main = Source::new(RootedPath::new(VirtualRoot::Project, path).intern(), paper.template.to_owned());
    let desk = Desk {
        library: LazyHash::new(Library::default()),
        main,
        data: Bytes::from_string(paper.data.to_string()),
        pictures: &paper.pictures,
    };
    let set = typst::compile::<PagedDocument>(&desk);
    // What the setting remembers of papers before is let go: a server prints for weeks.
    comemo::evict(0);
    let document = set.output.map_err(|e| ReportError::Template { detail: told(&desk, &e) })?;
    let [y, mo, d, h, mi, s] = paper.made;
    #[allow(clippy::cast_possible_truncation)] // months and hours
    let made = Datetime::from_ymd_hms(i32::from(y), mo as u8, d as u8, h as u8, mi as u8, s as u8);
    let options = PdfOptions {
        creator: Smart::Custom(Some(concat!("Serrata ", env!("CARGO_PKG_VERSION")).into())),
        timestamp: made.map(Timestamp::new_utc),
        standards: PdfStandards::new(&[PdfStandard::A_2b]).map_err(|e| pdf(e.message().to_string()))?,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|e| pdf(told(&desk, &e)))
}

/// Line and reason of what went wrong, the first of it.
fn told(desk: &Desk<'_>, all: &[SourceDiagnostic]) -> String {
    let Some(first) = all.first() else { return "no reason was given".to_owned() };
    let line = desk
        .range(first.span)
        .and_then(|r| desk.main.lines().byte_to_line(r.start))
        .map(|l| format!("line {}: ", l + 1))
        .unwrap_or_default();
    format!("{line}{}", first.message)
}

/// Whether every character of the data is in some face: a name is never printed as boxes.
fn readable(data: &Value) -> Result<(), ReportError> {
    match data {
        Value::String(text) => {
            let has = |c: char| {
                c.is_whitespace()
                    || c.is_control()
                    || (0..)
                        .map_while(|i| fonts().book().info(i))
                        .any(|face| face.coverage.contains(c as u32))
            };
            match text.chars().find(|c| !has(*c)) {
                None => Ok(()),
                Some(character) => {
                    let word = text.split_whitespace().find(|w| w.contains(character)).unwrap_or(text);
                    Err(ReportError::NoFont { character, word: word.to_owned() })
                }
            }
        }
        Value::Array(all) => all.iter().try_for_each(readable),
        Value::Object(all) => all.values().try_for_each(readable),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn paper<'a>(template: &'a str, data: &'a Value) -> Paper<'a> {
        Paper { template, data, pictures: BTreeMap::new(), made: [2026, 3, 2, 9, 15, 0] }
    }

    #[test]
    fn the_same_paper_gives_the_same_bytes() {
        let data = json!({"name": "Wren"});
        let one = || print(&paper("#json(\"/data.json\").name", &data)).unwrap();
        let bytes = one();
        assert!(bytes.starts_with(b"%PDF-1."));
        assert_eq!(bytes, one());
        assert!(String::from_utf8_lossy(&bytes).contains("pdfaid:part"));
    }

    #[test]
    fn what_a_template_does_wrong_is_told_by_line() {
        let data = json!({});
        let said = print(&paper("= Title\n#nothing()", &data)).unwrap_err().to_string();
        assert!(said.contains("line 2") && said.contains("nothing"), "{said}");
        // Nothing but its own data and pictures is read.
        for reach in ["#read(\"/etc/passwd\")", "#image(\"other.png\")", "#import \"@preview/cetz:0.1.0\""] {
            assert!(print(&paper(reach, &data)).is_err(), "{reach}");
        }
    }

    #[test]
    fn a_script_that_no_font_has_is_refused_with_its_word() {
        // A private-use character is in no font.
        let data = json!({"name": ["fine", "odd \u{10FFFD}name here"]});
        let said = print(&paper("x", &data)).unwrap_err();
        assert!(matches!(said, ReportError::NoFont { ref word, .. } if word.contains("name")), "{said}");
    }
}
