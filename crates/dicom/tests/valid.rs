//! Outside check: objects held against dicom3tools' `dciodvfy` (its own copy of PS3.3's modules).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, frame16, object, tool, wide};
use serrata_dicom::{
    Correction, Flaw, Instance, KeyReason, NewDocument, Said, SaidArea, SaidDecision, SaidTime,
    write_corrected, write_key_objects, write_pdf, write_photograph, write_report,
};
use serrata_words::{Eye, Gaze, Modality};
use std::path::Path;

/// What `dciodvfy -new` prints for a file.
fn verify(file: &Path) -> String {
    let out = tool("dciodvfy", &["-new", file.to_str().unwrap()]);
    format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr))
}

#[test]
fn photographs_have_no_errors() {
    let dir = tempfile::tempdir().unwrap();
    for modality in Modality::ALL {
        for deep in [false, true] {
            let channels = if *modality == Modality::Colour { 3 } else { 1 };
            let frame = if deep { frame16(6, 5, channels, 1) } else { frame8(6, 5, channels, 1) };
            let path = dir.path().join("photograph.dcm");
            std::fs::write(&path, write_photograph(&frame, &object(Eye::R, *modality)).unwrap()).unwrap();
            let said = verify(&path);
            let name =
                if deep { "OphthalmicPhotography16BitImage" } else { "OphthalmicPhotography8BitImage" };
            assert!(said.contains(name), "{modality} {deep}: not recognized: {said}");
            assert!(!said.contains("Error"), "{modality} {deep}: {said}");
        }
    }
}

#[test]
fn documents_about_pictures_have_no_errors() {
    let dir = tempfile::tempdir().unwrap();
    let about = object(Eye::R, Modality::Colour);
    let document = NewDocument {
        patient: about.patient.clone(),
        study_uid: about.study_uid.clone(),
        accession: "A1".to_owned(),
        study_began: about.acquired.clone(),
        made: about.acquired.clone(),
        series_uid: "2.25.11".to_owned(),
        instance_uid: "2.25.12".to_owned(),
        series_number: 900,
        instance_number: 1,
    };
    let picture = |n: u32| Instance {
        class_uid: "1.2.840.10008.5.1.4.1.1.77.1.5.1".to_owned(),
        instance_uid: format!("2.25.{n}"),
        study_uid: about.study_uid.clone(),
        series_uid: format!("2.25.{}", 100 + n % 2),
    };
    let pictures: Vec<Instance> = (1..4).map(picture).collect();
    let check = |name: &str, file: Vec<u8>, kind: &str| {
        let path = dir.path().join(name);
        std::fs::write(&path, file).unwrap();
        let said = verify(&path);
        assert!(said.contains(kind), "{name}: not recognized: {said}");
        assert!(!said.contains("Error"), "{name}: {said}");
    };
    check(
        "paper",
        write_pdf(&document, "Imaging record", b"%PDF-1.7 odd", &pictures).unwrap(),
        "EncapsulatedPDF",
    );
    assert!(write_pdf(&document, "x", b"no pdf", &[]).is_err());
    for (reason, own) in
        [(KeyReason::OfInterest, None), (KeyReason::Quality(Flaw::of("blink")), Some("blink"))]
    {
        let file = write_key_objects(&document, reason, own, "the lid came down", &pictures).unwrap();
        check("key", file, "KeyObjectSelectionDocument");
    }
    assert!(write_key_objects(&document, KeyReason::OfInterest, None, "", &[]).is_err());
    let said = |n: usize, rings: Vec<Vec<[f64; 2]>>| Said {
        picture: pictures[n].clone(),
        frame: (n == 1).then_some(2),
        eye: Some(Eye::L),
        what: "visible_retina".to_owned(),
        called: format!("picture {n}: visible retina"),
        rings,
        verdict: (n == 0).then(|| "usable".to_owned()),
        score: (n == 1).then_some(0.25),
        share: Some(1.0 / 3.0),
        area: (n == 0).then(|| SaidArea {
            mm2: 612.345_678_9,
            interval: [590.0, 640.5],
            radius_mm: 12.25,
            method: "area on a sphere".to_owned(),
        }),
        times: Vec::new(),
        decision: None,
    };
    let square = vec![[1.0, 1.0], [5.0, 1.0], [5.0, 4.5]];
    let passage = SaidTime {
        what: "av_passage".to_owned(),
        called: "arterio-venous passage".to_owned(),
        seconds: 1.6,
        interval: [0.9, 2.3],
    };
    let accepted = SaidDecision { word: "accepted".to_owned(), who: "RK".to_owned() };
    let run = Said { what: "dye_run".to_owned(), times: vec![passage], ..said(0, Vec::new()) };
    let region = Said { decision: Some(accepted), ..said(2, vec![square.clone()]) };
    let all = [
        said(0, vec![square.clone()]),
        said(1, vec![square.clone(), square]),
        said(2, Vec::new()),
        run,
        region,
    ];
    check("report", write_report(&document, "observe 5", &all).unwrap(), "ComprehensiveSR");
    assert!(write_report(&document, "observe 5", &[]).is_err());
    let endless = Said { share: Some(f64::NAN), ..said(0, Vec::new()) };
    assert!(write_report(&document, "observe 5", &[endless]).is_err());
}

#[test]
fn montages_and_corrected_pictures_have_no_errors() {
    let dir = tempfile::tempdir().unwrap();
    let picture = |n: u32| Instance {
        class_uid: "1.2.840.10008.5.1.4.1.1.77.1.5.1".to_owned(),
        instance_uid: format!("2.25.{n}"),
        study_uid: "2.25.7".to_owned(),
        series_uid: "2.25.8".to_owned(),
    };
    for modality in Modality::ALL {
        let channels = if *modality == Modality::Colour { 3 } else { 1 };
        let mut object = object(Eye::R, *modality);
        let path = dir.path().join("picture.dcm");
        let check = |file: &[u8], what: &str| {
            std::fs::write(&path, file).unwrap();
            let said = verify(&path);
            assert!(said.contains("OphthalmicPhotography8BitImage"), "{what}: {said}");
            assert!(!said.contains("Error"), "{modality} {what}: {said}");
        };
        let original = write_photograph(&frame8(6, 5, channels, 1), &object).unwrap();
        let correction = Correction {
            eye: Some(Eye::L),
            modality: (*modality == Modality::Fa).then_some(Modality::Icg),
            gaze: Some(Gaze::Primary),
            corrected: object.acquired.clone(),
            series_uid: "2.25.20".to_owned(),
            instance_uid: "2.25.21".to_owned(),
            series_number: 9004,
            instance_number: 1,
        };
        check(&write_corrected(&original, &correction).unwrap(), "corrected");
        object.sources = vec![picture(1), picture(2)];
        check(&write_photograph(&frame8(6, 5, channels, 1), &object).unwrap(), "montage");
    }
}

/// This build of the tool knows the wide-field modules, but not the composite object: as an ophthalmic photograph of
/// 8 bits every shared module is checked, and what is left is that wide-field attributes are not in that object.
#[test]
fn wide_field_objects_have_no_errors_in_their_shared_modules() {
    let dir = tempfile::tempdir().unwrap();
    for modality in Modality::ALL {
        let channels = if *modality == Modality::Colour { 3 } else { 1 };
        let mut object = object(Eye::L, *modality);
        object.wide_field = Some(wide());
        let path = dir.path().join("wide.dcm");
        std::fs::write(&path, write_photograph(&frame8(6, 5, channels, 1), &object).unwrap()).unwrap();
        assert!(
            verify(&path).contains("Information Object Not found"),
            "the tool has learnt: check directly"
        );
        let class = "(0008,0016)=1.2.840.10008.5.1.4.1.1.77.1.5.1";
        let changed = tool("dcmodify", &["-nb", "-m", class, path.to_str().unwrap()]);
        assert!(changed.status.success(), "{changed:?}");
        let said = verify(&path);
        assert!(said.contains("OphthalmicPhotography8BitImage"), "{said}");
        assert!(!said.contains("Error"), "{modality}: {said}");
    }
}

/// dcmtk reads every attribute, and the file is in the format's exact form.
#[test]
fn other_readers_take_the_files() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("a.dcm");
    let mut object = object(Eye::L, Modality::Colour);
    object.wide_field = Some(wide());
    std::fs::write(&path, write_photograph(&frame8(7, 5, 3, 1), &object).unwrap()).unwrap();
    let path = path.to_str().unwrap();
    assert!(String::from_utf8_lossy(&tool("dcmftest", &[path]).stdout).starts_with("yes:"));
    let dump = tool("dcmdump", &["+U8", path]);
    let text = String::from_utf8_lossy(&dump.stdout);
    assert!(dump.status.success() && dump.stderr.is_empty(), "{dump:?}");
    for line in ["ORIGINAL\\PRIMARY\\\\COLOR", "[Invented^Ada=山田^太郎]", "XCoordinatesCenterPixelViewAngle"]
    {
        assert!(text.contains(line), "{line} is not in {text}");
    }
}
