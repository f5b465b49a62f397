//! What was seen and measured, as a structured report.

use super::{About, REPORTS, number_of};
use crate::api::frame::appraisal;
use crate::api::reading::ReadRun;
use crate::handover::Derived;
use serrata_dicom::{Instance, Said, SaidArea, SaidDecision, SaidTime, write_report};
use serrata_words::{AppraisalLine, Eye, Region};

/// One report of all pictures that are in the hand-over and were looked at, and of the dye runs that were read; none where there is
/// none.
pub(super) fn report(about: &About<'_>, runs: &[ReadRun]) -> Option<Derived> {
    let (mut said, mut method) = (Vec::new(), None);
    for j in &about.stand.judged {
        let Some(picture) = about.instance(&j.kept.sha256).filter(|_| j.kept.set_aside.is_none()) else {
            continue;
        };
        let Some(line) = appraisal(about.station, j) else { continue };
        let frames = about.known.get(&j.kept.sha256).map_or(1, |h| h.frames);
        let frame = (frames > 1).then_some(j.kept.index + 1);
        method.get_or_insert_with(|| format!("{} {}", line.method.name, line.method.revision));
        said.extend(of_picture(&line, &picture, frame, j.kept.id.0));
    }
    let mut method = method?;
    for run in runs {
        let ours = of_run(about, run);
        if !ours.is_empty() {
            method.push_str(&format!("; {} {}", run.line.method.name, run.line.method.revision));
        }
        said.extend(ours);
    }
    let pictures = about.instances();
    // The same said again has the same number.
    let words = format!("report of {}: {said:?}", about.visit.study_uid);
    let number = number_of(&pictures, &words);
    let document = about.document(number.clone(), REPORTS, 0);
    let frames = about.frames_of(&pictures);
    let make = move || write_report(&document, &method, &said).map_err(|e| e.to_string());
    Some(Derived::new("report", number, frames, make))
}

/// A place of a picture of which nothing is said yet.
fn nothing_yet(
    picture: Instance,
    frame: Option<u32>,
    eye: Option<Eye>,
    what: &str,
    called: String,
    rings: Vec<Vec<[f64; 2]>>,
) -> Said {
    Said {
        picture,
        frame,
        eye,
        what: what.to_owned(),
        called,
        rings,
        verdict: None,
        score: None,
        share: None,
        area: None,
        times: Vec::new(),
        decision: None,
    }
}

/// The visible retina with the verdict, then each finding.
fn of_picture(line: &AppraisalLine, picture: &Instance, frame: Option<u32>, id: i64) -> Vec<Said> {
    let eye = line.eye.labelled.or(line.eye.inferred);
    let said = |what: &str, called: String, place: &Region| {
        nothing_yet(picture.clone(), frame, eye, what, called, place.polygons.clone())
    };
    let v = &line.visible_retina;
    let area = match (v.area_mm2, v.area_interval_mm2, v.radius_mm) {
        (Some(mm2), Some(interval), Some(radius_mm)) => Some(SaidArea {
            mm2,
            interval,
            radius_mm,
            method: format!(
                "area inside the outline on a sphere, holes taken out; radius half the axial length, {}",
                v.radius_source.as_deref().unwrap_or("unknown")
            ),
        }),
        _ => None,
    };
    let retina = Said {
        verdict: Some(line.verdict.word().to_owned()),
        share: Some(v.fraction),
        area,
        ..said("visible_retina", format!("picture {id}: visible retina"), &v.place)
    };
    let finding = |f: &serrata_words::Finding| {
        let side = f.side.map_or_else(String::new, |s| format!(", {}", s.word()));
        let called = format!("picture {id}: {}{side}", f.kind.screen());
        Said { score: Some(f.score), share: Some(f.fraction), ..said(f.kind.word(), called, &f.place) }
    };
    std::iter::once(retina).chain(line.findings.iter().map(|f| finding(&f.finding))).collect()
}

/// The times of a dye run, at the frame that all others are laid on, and the regions that a named person accepted, corrected or drew:
/// what is only proposed is nobody's word, and stays out.
fn of_run(about: &About<'_>, run: &ReadRun) -> Vec<Said> {
    let reference = run.line.reference.as_ref().and_then(|r| r.parse::<i64>().ok());
    let kept = about.stand.judged.iter().map(|j| &j.kept).find(|k| Some(k.id.0) == reference);
    let Some((kept, picture)) = kept.and_then(|k| Some((k, about.instance(&k.sha256)?))) else {
        return Vec::new();
    };
    let frames = about.known.get(&kept.sha256).map_or(1, |h| h.frames);
    let frame = (frames > 1).then_some(kept.index + 1);
    let said = |what: &str, called: String, rings: Vec<Vec<[f64; 2]>>| {
        nothing_yet(picture.clone(), frame, Some(run.eye), what, called, rings)
    };
    let line = &run.line;
    let times = [
        ("arm_to_retina", "arm to retina", line.arm_to_retina),
        ("av_passage", "arterio-venous passage", line.arteriovenous_passage),
        ("mean_circulation", "mean retinal circulation", line.mean_circulation),
    ];
    let name = format!("{} of the {}", line.modality.screen(), run.eye.screen());
    let times: Vec<SaidTime> = times
        .into_iter()
        .filter_map(|(what, called, span)| {
            let serrata_words::DyeSpan { seconds, interval } = span?;
            Some(SaidTime { what: what.to_owned(), called: called.to_owned(), seconds, interval })
        })
        .collect();
    let mut out = Vec::new();
    if !times.is_empty() {
        out.push(Said { times, ..said("dye_run", format!("dye run, {name}"), Vec::new()) });
    }
    for (k, (r, who, outline)) in run.decided().enumerate() {
        let area = r.area_mm2.zip(r.area_interval_mm2).map(|(mm2, interval)| SaidArea {
            mm2,
            interval,
            radius_mm: run.radius_mm,
            method: format!(
                "area inside the outline on a sphere, holes taken out; radius half the axial length, {}",
                run.radius_source
            ),
        });
        let what = r.what.replace([',', ' '], "_").replace("__", "_");
        out.push(Said {
            score: r.score,
            area,
            decision: Some(SaidDecision { word: r.status.clone(), who: who.to_owned() }),
            ..said(&what, format!("dye run, {name}: {}, region {}", r.what, k + 1), outline.polygons.clone())
        });
    }
    out
}
