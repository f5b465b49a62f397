//! The contracts as others read them: a snapshot fails when a key is removed, renamed or changes its meaning.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serrata_words::appraisal::Source;
use serrata_words::{
    AppraisalLine, Disc, ErrorLine, Eye, EyeInference, Finding, FindingKind, Fovea, FrameTruth, Gaze,
    Instrument, Judgement, Method, Milliseconds, Modality, Next, Observation, Reach, Reason, Region,
    Sharpness, Side, Verdict, View, VisibleRetina,
};

fn square(side: f64) -> Region {
    Region { polygons: vec![vec![[0.0, 0.0], [side, 0.0], [side, side + 0.06], [0.0, side]]], holes: vec![] }
}

fn blink() -> Finding {
    let mut f = Finding::new(FindingKind::Blink, 0.97, 0.11);
    f.rows = Some([402, 655]);
    f.onset_ms = Some(44.666_66);
    f.duration_ms = Some(28.111);
    f.side = Some(Side::Top);
    f
}

fn observation() -> Observation {
    Observation {
        method: Method::new("observe", 1),
        width: 3600,
        height: 3600,
        aperture_fraction: 0.912_345,
        visible_retina: VisibleRetina { fraction: 0.84, fraction_of_picture: 0.76, place: square(10.0) },
        findings: vec![blink()],
        eye: EyeInference { inferred: Some(Eye::R), probability: 0.998 },
        disc: Some(Disc { x: 2270.04, y: 1790.0, radius: 62.0, probability: 0.99 }),
        fovea: Some(Fovea { x: 1800.0, y: 1830.0, probability: 0.9 }),
        reach: Some(Reach { superior: 7.0, inferior: 6.5, nasal: 8.0, temporal: 9.0 }),
        sharpness: Sharpness { value: 0.71, unit: "share of detail".into() },
    }
}

#[test]
fn an_appraisal_reads_as_agreed() {
    let o = observation();
    let view = View::default_of(Modality::Colour, Gaze::Primary);
    let j = Judgement {
        verdict: Verdict::NotUsable,
        next: Next::TryAgain,
        reasons: vec![Reason {
            rule: "blink".into(),
            finding: Some(FindingKind::Blink),
            must: true,
            text: "blink, 11 % of the picture".into(),
        }],
        advice: vec!["Let the patient blink.".into()],
    };
    let source =
        Source { path: "a/b.jpg", frame: 0, sha256: "00ff", labelled: Some(Eye::L), instrument: None };
    let mut line = AppraisalLine::new(&source, &view, &o, &j, |f| Some(format!("about {}", f.kind)));
    line.milliseconds = Some(Milliseconds { decode: 41.26, observe: 12.0 });
    insta::assert_json_snapshot!(line);
    let text = serde_json::to_string(&line).unwrap();
    let back: AppraisalLine = serde_json::from_str(&text).unwrap();
    assert_eq!(serde_json::to_string(&back).unwrap(), text, "what was written reads back the same");
    line.milliseconds = None;
    assert!(!serde_json::to_string(&line).unwrap().contains("milliseconds"), "timings only when asked for");
}

#[test]
fn an_error_reads_as_agreed() {
    let e = ErrorLine::new("x.jpg", "truncated", "the file ends in the middle", "Copy it again");
    insta::assert_json_snapshot!(e);
    assert_eq!(e.sentence(), "x.jpg: the file ends in the middle. Copy it again.");
}

#[test]
fn a_truth_reads_as_agreed() {
    insta::assert_json_snapshot!(FrameTruth {
        schema: FrameTruth::SCHEMA.into(),
        seed: 7,
        file: Some("7.png".into()),
        width: 3600,
        height: 3600,
        eye: Eye::R,
        labelled: Some(Eye::R),
        modality: Modality::Faf,
        gaze: Gaze::UpLeft,
        degrees_per_pixel: 0.074,
        axial_length_mm: 24.123_456,
        disc: Disc { x: 1.0, y: 2.0, radius: 3.0, probability: 1.0 },
        fovea: Fovea { x: 1.0, y: 2.0, probability: 1.0 },
        visible_retina: square(3.0),
        visible_fraction: 0.8,
        findings: vec![blink()],
        expected: Verdict::Limited,
        movements: Vec::new(),
        dye: None,
        lesions: Vec::new(),
        raw: false,
    });
}

#[test]
fn an_observation_reads_back() {
    let text = serde_json::to_string(&observation()).unwrap();
    let back: Observation = serde_json::from_str(&text).unwrap();
    assert_eq!(serde_json::to_string(&back).unwrap(), text);
}

#[test]
fn every_word_reads_back_and_an_unknown_one_is_told_with_the_known_ones() {
    for m in Modality::ALL {
        assert_eq!(m.word().parse::<Modality>().unwrap(), *m);
    }
    for k in FindingKind::ALL {
        assert_eq!(serde_json::to_string(k).unwrap(), format!("\"{}\"", k.word()));
    }
    let e = "purple".parse::<Modality>().unwrap_err().to_string();
    assert_eq!(e, "\"purple\" is no modality; use one of: colour, faf, fa, icg, infrared, red, green");
}

#[test]
fn a_line_in_the_middle_of_the_sweep_has_half_its_time() {
    let text = "name='x'\nsource='invented'\nwidth=3600\nheight=3600\nprojection='stereographic'\n\
                degrees_per_pixel=0.074\nslow_axis='up'\nsweep_s=0.4\n";
    let i: Instrument = toml::from_str(text).unwrap();
    assert!((i.line_ms(1800.0, 3600) - 200.0).abs() < 1e-9);
    assert!((i.line_ms(0.0, 3600) - 400.0).abs() < 1e-9, "the sweep goes up, so the first row comes last");
}
