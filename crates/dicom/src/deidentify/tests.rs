use super::*;
use crate::data::set::Encoding;
use proptest::prelude::*;

fn how() -> Deidentify {
    Deidentify {
        secret: Secret([3; 32]),
        patient_id: "INV-7".to_owned(),
        code: "SUBJ-1".to_owned(),
        keep_characteristics: false,
        keep_device: false,
    }
}

/// A small picture in explicit or implicit VR with what names somebody at the top and within a sequence.
fn object(explicit: bool, more: &mut [Piece<'_>]) -> Vec<u8> {
    let e = if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT };
    let text = |tag, vr, v: &str| Piece { tag, vr, value: New::Other(v.as_bytes().to_vec()) };
    let number = |tag, v: u16| Piece { tag, vr: VR::US, value: New::Other(v.to_le_bytes().to_vec()) };
    let reference = vec![
        text(tags::REFERENCED_SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.77.1.5.1"),
        text(tags::REFERENCED_SOP_INSTANCE_UID, VR::UI, "1.2.826.0.1.77"),
        text(tags::REFERRING_PHYSICIAN_NAME, VR::PN, "Within^Deep"),
    ];
    let mut pieces = vec![
        text(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.77.1.5.1"),
        text(tags::SOP_INSTANCE_UID, VR::UI, "1.2.826.0.1.42"),
        text(tags::STUDY_DATE, VR::DA, "20260302"),
        text(tags::ACQUISITION_DATE_TIME, VR::DT, "20260302091500.5+0100"),
        text(tags::CONTRAST_BOLUS_START_TIME, VR::TM, "091452"),
        text(tags::PATIENT_NAME, VR::PN, "Hollowell^Bree"),
        text(tags::PATIENT_ID, VR::LO, "INV-7"),
        text(tags::PATIENT_BIRTH_DATE, VR::DA, "19710921"),
        text(tags::PATIENT_SEX, VR::CS, "F"),
        text(Tag(0x0009, 0x0010), VR::LO, "SOMEBODY"),
        text(tags::STUDY_INSTANCE_UID, VR::UI, "1.2.826.0.1.43"),
        Piece { tag: tags::SOURCE_IMAGE_SEQUENCE, vr: VR::SQ, value: New::Items(vec![reference]) },
        number(tags::ROWS, 2),
        number(tags::COLUMNS, 2),
        Piece { tag: tags::PIXEL_DATA, vr: VR::OW, value: New::Same(&[1, 2, 3, 4]) },
    ];
    for p in more {
        let value = std::mem::replace(&mut p.value, New::Same(&[]));
        pieces.push(Piece { tag: p.tag, vr: p.vr, value });
    }
    let mut out = part10::opening(
        "1.2.840.10008.5.1.4.1.1.77.1.5.1",
        "1.2.826.0.1.42",
        if explicit { "1.2.840.10008.1.2.1" } else { "1.2.840.10008.1.2" },
        "",
    );
    emit(&mut pieces, e, &mut out);
    out
}

fn read<T>(copy: &Copy, of: impl Fn(&DataSet<'_>) -> T) -> T {
    let file = part10::split(&copy.file, 1 << 30).unwrap();
    of(&DataSet::parse(&file.data, file.syntax.encoding, Tag(0xFFFF, 0xFFFF)).unwrap())
}

#[test]
fn names_go_references_fit_and_the_clock_stays() {
    for explicit in [true, false] {
        let copy = deidentify(&object(explicit, &mut []), &how()).unwrap();
        let text = |tag| read(&copy, |s| s.text(tag));
        assert_eq!(text(tags::PATIENT_NAME).as_deref(), Some("SUBJ-1"));
        assert_eq!(text(tags::PATIENT_ID).as_deref(), Some("SUBJ-1"));
        assert_eq!((text(tags::PATIENT_BIRTH_DATE), text(tags::PATIENT_SEX)), (None, None));
        assert_eq!(text(tags::PATIENT_IDENTITY_REMOVED).as_deref(), Some("YES"));
        // The dye's clock: the frame was taken 8.5 s after the injection, and still is.
        let taken = text(tags::ACQUISITION_DATE_TIME).unwrap();
        assert_eq!(&taken[8..], "091500.5+0100");
        assert_eq!(Some(&taken[..8]), text(tags::STUDY_DATE).as_deref());
        assert_ne!(&taken[..8], "20260302");
        assert_eq!(text(tags::CONTRAST_BOLUS_START_TIME).as_deref(), Some("091452"));
        assert_eq!(text(tags::SOP_INSTANCE_UID), Some(copy.instance_uid.clone()));
        assert_eq!(text(Tag(0x0009, 0x0010)), None);
        read(&copy, |s| {
            let item = s.item(tags::SOURCE_IMAGE_SEQUENCE).unwrap();
            assert_eq!(
                item.text(tags::REFERENCED_SOP_INSTANCE_UID),
                Some(how().secret.uid("1.2.826.0.1.77"))
            );
            assert_eq!(item.text(tags::REFERRING_PHYSICIAN_NAME), None);
            assert_eq!(s.bytes(tags::PIXEL_DATA), Some(&[1, 2, 3, 4][..]));
        });
        let told: Vec<_> = copy.changes.iter().map(|c| (c.name.as_str(), c.what)).collect();
        assert!(
            told.contains(&("private", "removed")) && told.contains(&("StudyDate", "moved by whole days"))
        );
    }
}

#[test]
fn a_value_that_hides_elsewhere_stops_the_copy() {
    let hidden = |tag, vr, v: &str| Piece { tag, vr, value: New::Other(v.as_bytes().to_vec()) };
    let mut model = [hidden(tags::MANUFACTURER_MODEL_NAME, VR::LO, "HOLLOWELL's camera")];
    let said = deidentify(&object(true, &mut model), &how()).unwrap_err().to_string();
    assert!(said.contains("(0008,1090)") && !said.to_lowercase().contains("hollowell"), "{said}");
    let mut burnt = [hidden(tags::BURNED_IN_ANNOTATION, VR::CS, "YES")];
    assert!(deidentify(&object(true, &mut burnt), &how()).unwrap_err().to_string().contains("burnt"));
}

#[test]
fn what_is_asked_for_stays() {
    let how = Deidentify { keep_characteristics: true, ..how() };
    let copy = deidentify(&object(true, &mut []), &how).unwrap();
    assert_eq!(read(&copy, |s| s.text(tags::PATIENT_SEX)).as_deref(), Some("F"));
}

proptest! {
    #[test]
    fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = deidentify(&bytes, &how());
        let mut file = object(true, &mut []);
        file.extend_from_slice(&bytes);
        let _ = deidentify(&file, &how());
    }

    #[test]
    fn no_attribute_of_any_kind_carries_the_name_out(group in 1u16..0x7FE0, element: u16, pick in 0usize..8) {
        let vr = [VR::LO, VR::SH, VR::PN, VR::UT, VR::ST, VR::AE, VR::CS, VR::UN][pick];
        prop_assume!(group > 2 && element > 0);
        let mut one = [Piece { tag: Tag(group, element), vr, value: New::Other(b"see hollowell today ".to_vec()) }];
        if let Ok(copy) = deidentify(&object(true, &mut one), &how()) {
            prop_assert!(!String::from_utf8_lossy(&copy.file).to_lowercase().contains("hollowell"));
        }
    }
}
