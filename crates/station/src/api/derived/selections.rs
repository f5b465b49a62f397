//! The paper, and which pictures are named for what reason.

use super::{About, PAPERS, SELECTIONS, number_of};
use crate::api::frame::appraisal;
use crate::handover::Derived;
use serrata_dicom::{Flaw, Instance, KeyReason, write_key_objects, write_pdf};
use std::collections::BTreeMap;

/// The paper as an object.
pub(super) fn paper(about: &About<'_>, pdf: &[u8]) -> Derived {
    let pictures = about.instances();
    let said = about.stand.events.last().map_or(0, |e| e.seq);
    let number = number_of(&pictures, &format!("paper of {} up to {said}", about.visit.study_uid));
    let document = about.document(number.clone(), PAPERS, 0);
    let (frames, pdf) = (about.frames_of(&pictures), pdf.to_vec());
    let make = move || write_pdf(&document, "Imaging record", &pdf, &pictures).map_err(|e| e.to_string());
    Derived::new("imaging-record", number, frames, make)
}

/// The selections as objects.
pub(super) fn selections(about: &About<'_>) -> Vec<Derived> {
    let one = |(n, (reason, own, words, pictures)): (usize, Selection)| {
        let number =
            number_of(&pictures, &format!("selection {reason:?} {words} of {}", about.visit.study_uid));
        let document = about.document(number.clone(), SELECTIONS, n);
        let frames = about.frames_of(&pictures);
        let make = move || {
            write_key_objects(&document, reason, own.as_deref(), &words, &pictures).map_err(|e| e.to_string())
        };
        Derived::new(&format!("selection-{}", n + 1), number, frames, make)
    };
    chosen(about).into_iter().enumerate().map(one).collect()
}

type Selection = (KeyReason, Option<String>, String, Vec<Instance>);

/// Pictures that meet a view; then those that were set aside, by what was wrong and why a person did it.
fn chosen(about: &About<'_>) -> Vec<Selection> {
    let (station, s) = (about.station, about.stand);
    let meets: Vec<i64> = s.status.views.iter().flat_map(|v| v.frames.iter().copied()).collect();
    let mut chosen: Vec<Instance> = Vec::new();
    let mut aside: BTreeMap<(KeyReason, Option<String>, String), Vec<Instance>> = BTreeMap::new();
    for j in &s.judged {
        let Some(instance) = about.instance(&j.kept.sha256) else { continue };
        match &j.kept.set_aside {
            None if meets.contains(&j.kept.id.0) && !chosen.contains(&instance) => chosen.push(instance),
            None => {}
            Some(why) => {
                let finding = appraisal(station, j).and_then(|a| {
                    a.reasons.iter().find_map(|r| r.finding.as_ref().map(|f| f.word().to_owned()))
                });
                let flaw = finding.as_deref().map_or(Flaw::Other, Flaw::of);
                aside.entry((KeyReason::Quality(flaw), finding, why.clone())).or_default().push(instance);
            }
        }
    }
    let mut out: Vec<Selection> = Vec::new();
    if !chosen.is_empty() {
        out.push((KeyReason::OfInterest, None, "Meets what was ordered".to_owned(), chosen));
    }
    out.extend(aside.into_iter().map(|((reason, own, words), all)| (reason, own, words, all)));
    out
}
