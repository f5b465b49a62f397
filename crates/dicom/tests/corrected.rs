//! A corrected picture differs from its original in its labels and numbers, and in nothing else.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, frame16, object, wide};
use proptest::prelude::*;
use serrata_dicom::{Correction, DicomReader, read_header, uid, write_corrected, write_photograph};
use serrata_frame::{Decode, Limits};
use serrata_words::{Eye, Gaze, Modality};

fn correction(eye: Option<Eye>, modality: Option<Modality>, gaze: Option<Gaze>) -> Correction {
    Correction {
        eye,
        modality,
        gaze,
        corrected: common::stamp(),
        series_uid: uid::fresh(),
        instance_uid: uid::fresh(),
        series_number: 9004,
        instance_number: 1,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn labels_are_as_corrected_and_all_else_is_as_it_was(
        w in 1u32..9, h in 1u32..9, deep in any::<bool>(), wide_field in any::<bool>(),
        eye in prop::option::of(prop::sample::select(vec![Eye::R, Eye::L])),
        gaze in prop::option::of(prop::sample::select(Gaze::ALL.to_vec())),
        modality in prop::option::of(prop::sample::select(vec![Modality::Fa, Modality::Icg, Modality::Green])),
    ) {
        let mut said = object(Eye::R, Modality::Fa);
        said.wide_field = (wide_field && !deep).then(wide);
        let frame = if deep { frame16(w, h, 1, 3) } else { frame8(w, h, 1, 3) };
        let before = write_photograph(&frame, &said).unwrap();
        let c = correction(eye, modality, gaze);
        let after = write_corrected(&before, &c).unwrap();
        let (old, new) = (read_header(&before).unwrap(), read_header(&after).unwrap());
        prop_assert_eq!(&new.instance_uid, &c.instance_uid);
        prop_assert_eq!(&new.series_uid, &c.series_uid);
        prop_assert_eq!((&new.patient, &new.study_uid, &new.class_uid), (&old.patient, &old.study_uid, &old.class_uid));
        prop_assert_eq!(new.facts.eye, eye.or(old.facts.eye));
        prop_assert_eq!(new.facts.gaze, gaze.or(old.facts.gaze));
        prop_assert_eq!(new.facts.modality, modality.or(old.facts.modality));
        prop_assert_eq!(&new.facts.acquired, &old.facts.acquired);
        // What is no dye picture says nothing of a needle.
        let needle = old.facts.contrast_start.filter(|_| modality.is_none_or(Modality::is_dye));
        prop_assert_eq!(new.facts.contrast_start, needle);
        prop_assert_eq!(&new.facts.geometry_problem, &old.facts.geometry_problem);
        let picture = |b: &[u8]| DicomReader.decode(b, &Limits::default()).unwrap().remove(0).pixels;
        prop_assert_eq!(picture(&before), picture(&after));
    }

    #[test]
    fn rubbish_is_refused_and_does_not_panic(cut in 0usize..2000, at in 0usize..2000, byte in any::<u8>()) {
        let mut file = write_photograph(&frame8(5, 4, 1, 3), &object(Eye::R, Modality::Fa)).unwrap();
        let n = file.len();
        file[at % n] = byte;
        file.truncate(n - cut % n);
        let _ = write_corrected(&file, &correction(Some(Eye::L), Some(Modality::Icg), None));
    }
}

#[test]
fn a_kind_that_needs_its_light_is_refused_in_words() {
    let file = write_photograph(&frame8(5, 4, 1, 3), &object(Eye::R, Modality::Fa)).unwrap();
    let said = write_corrected(&file, &correction(None, Some(Modality::Faf), None)).unwrap_err().to_string();
    assert!(said.contains("light"), "{said}");
    assert!(write_corrected(b"no picture", &correction(Some(Eye::L), None, None)).is_err());
}
