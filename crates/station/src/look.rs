//! Where to look next, for one eye of a visit.

use crate::Station;
use crate::charts::Placed;
use crate::footprints::footprint;
use serrata_eye::GAZE_DEG;
use serrata_visit::{Look, LookQuery, Seen, ViewState, ViewStatus, gaze_range_deg, look_next, wanted_region};
use serrata_words::{Eye, EyeState, Verdict};

/// The gaze that adds most of what is still wanted of an eye, or none: where every view of it is met or closed, where
/// no frame tells yet what lids leave free, where another gaze wins too little, and where the eye cannot be sent.
///
/// The kind of picture is that of the first view that is still wanted and has a frame.
pub async fn look(
    station: &Station,
    eye: Eye,
    frames: &[Placed<'_>],
    views: &[ViewStatus],
    state: &EyeState,
) -> Option<Look> {
    let of_eye = |v: &&ViewStatus| v.view.eye.is_none_or(|e| e == eye) && v.view.phase.is_none();
    let wanted = |v: &&ViewStatus| {
        matches!(v.state, ViewState::Due | ViewState::MetWithReservations | ViewState::Overdue)
    };
    let usable = |f: &&Placed<'_>| f.eye == eye && f.verdict != Verdict::NotUsable;
    let kind = views
        .iter()
        .filter(of_eye)
        .filter(wanted)
        .map(|v| v.view.modality)
        .find(|m| frames.iter().filter(usable).any(|f| f.modality == m.word()))?;
    let (mut made, mut field_deg, mut instrument) = (Vec::new(), 0f64, None);
    for f in frames.iter().filter(usable).filter(|f| f.modality == kind.word()) {
        let Some((shown, lie)) = footprint(station, f).await else { continue };
        field_deg = field_deg.max(lie.field_deg);
        instrument = f.instrument.and_then(|i| i.gaze_range_deg).or(instrument);
        made.push((shown, lie.to_retina));
    }
    let rules = station.rules().look.clone();
    let range_deg = gaze_range_deg(state, instrument.unwrap_or(rules.range_deg));
    let asked: Vec<_> = views
        .iter()
        .filter(of_eye)
        .filter(|v| v.view.modality == kind)
        .filter(|v| !matches!(v.state, ViewState::NotObtainable | ViewState::NotDone | ViewState::NotWanted))
        .map(|v| v.view.clone())
        .collect();
    station
        .pixels(move || {
            let wanted = wanted_region(asked.iter(), eye, rules.wanted_deg.min(field_deg), GAZE_DEG);
            let frames: Vec<Seen<'_>> =
                made.iter().map(|(f, turn)| Seen { footprint: f, to_retina: *turn }).collect();
            look_next(&LookQuery {
                eye,
                frames: &frames,
                wanted: &wanted,
                field_deg,
                range_deg,
                least: rules.least,
            })
        })
        .await
        .flatten()
}
