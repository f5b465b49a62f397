//! The plain reference: the general-purpose object reader, on the same bytes.

use super::set::{DataSet, Encoding, Value};
use super::{part10, set};
use dicom_core::value::Value as Other;
use dicom_core::{Tag, VR};
use dicom_object::InMemDicomObject;
use serrata_frame::Limits;
use std::path::Path;

/// Whether both readers found the same elements with the same values.
fn same(ours: &DataSet<'_>, theirs: &InMemDicomObject, at: &str) {
    let tags: Vec<Tag> = theirs.tags().collect();
    // Group lengths are dropped by the other reader.
    let found: Vec<&set::Element<'_>> = ours.elements.iter().filter(|e| e.tag.1 != 0).collect();
    assert_eq!(found.iter().map(|e| e.tag).collect::<Vec<_>>(), tags, "{at}");
    for element in found {
        let other = theirs.element(element.tag).unwrap();
        let at = format!("{at} {}", element.tag);
        match (&element.value, other.value()) {
            (Value::Items(items), Other::Sequence(sequence)) => {
                assert_eq!(items.len(), sequence.items().len(), "{at}");
                for (a, b) in items.iter().zip(sequence.items()) {
                    same(a, b, &at);
                }
            }
            (Value::Fragments(parts), Other::PixelSequence(sequence)) => {
                let parts: Vec<&[u8]> = parts[1..].to_vec();
                assert_eq!(parts, sequence.fragments().iter().map(Vec::as_slice).collect::<Vec<_>>(), "{at}");
            }
            (Value::Bytes(bytes), Other::Primitive(value)) => match element.vr {
                // The other reader takes the VR of ambiguous elements from the pixels' sign; the pixels are compared
                // elsewhere.
                VR::US if other.vr() == VR::US => {
                    assert_eq!(ours.u16(element.tag), value.uint16().ok(), "{at}");
                }
                VR::FL | VR::FD => assert_eq!(ours.decimal(element.tag), value.to_float64().ok(), "{at}"),
                VR::OB | VR::UN => assert_eq!(*bytes, &*value.to_bytes(), "{at}"),
                VR::UI | VR::CS | VR::SH | VR::LO if ours.charset == Default::default() => {
                    assert_eq!(
                        ours.texts(element.tag).join("\\"),
                        value.to_str().trim_matches(['\0', ' ']),
                        "{at}"
                    );
                }
                _ => {}
            },
            (a, b) => panic!("{at}: {a:?} and {b:?}"),
        }
    }
}

#[test]
fn published_files_read_the_same_with_the_general_purpose_reader() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data/dicom");
    let Ok(files) = std::fs::read_dir(&folder) else {
        println!("skipped: ../shared/data/dicom is not here");
        return;
    };
    let mut compared = 0;
    for path in files.flatten().map(|f| f.path()) {
        let bytes = std::fs::read(&path).unwrap();
        let (Ok(theirs), Ok(file)) =
            (dicom_object::open_file(&path), part10::split(&bytes, Limits::default().bytes))
        else {
            continue;
        };
        let Ok(ours) = DataSet::parse(&file.data, file.syntax.encoding, Tag(0xFFFF, 0xFFFF)) else {
            continue;
        };
        if ours.cut || ours.encoding == Encoding::BIG {
            continue; // values in other byte orders are compared by their pixels elsewhere
        }
        same(&ours, &theirs, &path.file_name().unwrap().to_string_lossy());
        compared += 1;
    }
    assert!(compared >= 35, "only {compared} files could be compared");
}
