//! The part of the retina that a view asks for, and frames that show it together.

use crate::completeness::Joint;
use crate::rules::Rules;
use serrata_eye::{Direction, Footprint, RetinalPoint, Rotation};
use serrata_words::{Eye, FrameId, Gaze, Judgement, Reason, Verdict, View};

/// Points of a cap's outline.
const OUTLINE: u16 = 72;

/// The retina about the point that a gaze brings to the middle of the picture, in the retinal frame: a cap of
/// `half_deg` of eye angle, with the gaze turned by `turn_deg`.
///
/// Example: straight ahead with 75° it is 4.657 sr.
#[must_use]
pub fn view_region(gaze: Gaze, half_deg: f64, turn_deg: f64) -> Footprint {
    let turn = Rotation::from_gaze(gaze, turn_deg);
    let edge = |k: u16| {
        let meridian_deg = f64::from(k) * 360.0 / f64::from(OUTLINE);
        turn.apply(RetinalPoint { eccentricity_deg: half_deg, meridian_deg }.to_direction())
    };
    Footprint::from_rings(&[(0..OUTLINE).map(edge).collect()], turn.apply(Direction::ANTERIOR))
}

/// The retina that the views of an eye ask for together.
#[must_use]
pub fn wanted_region<'a>(
    views: impl Iterator<Item = &'a View>,
    eye: Eye,
    half_deg: f64,
    turn_deg: f64,
) -> Footprint {
    let mut gazes: Vec<Gaze> = Vec::new();
    for v in views.filter(|v| v.eye.is_none_or(|e| e == eye)) {
        if !gazes.contains(&v.gaze) {
            gazes.push(v.gaze);
        }
    }
    let mut all = Footprint::empty();
    for g in gazes {
        all.add(&view_region(g, half_deg, turn_deg));
    }
    all
}

/// A frame that may show a part of a view.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Its number.
    pub id: FrameId,
    /// What it shows, in the retinal frame.
    pub footprint: &'a Footprint,
    /// What it was judged.
    pub judgement: &'a Judgement,
}

impl Piece<'_> {
    /// Whether nothing stands against it but that something covers a part, or that it does not reach far.
    fn shows_a_part(&self) -> bool {
        let covering = |rule: &str| {
            rule == "obstructed"
                || rule.starts_with("reach")
                || crate::covered::COVERING.iter().any(|k| k.word() == rule)
        };
        // What covers the pole of one frame need not cover it in another.
        let pole =
            |r: &Reason| r.rule == "pole" && r.finding.is_some_and(|k| crate::covered::COVERING.contains(&k));
        self.judgement.reasons.iter().filter(|r| r.must).all(|r| covering(&r.rule) || pole(r))
    }
}

/// The fewest frames that show most of a view's own region together, and what that makes of it; `None` where fewer
/// than two frames help. What is lost is held against the same limits as in one frame.
#[must_use]
pub fn joint(view: &View, region: &Footprint, pieces: &[Piece<'_>], rules: &Rules) -> Option<Joint> {
    let whole = region.area_sr();
    if whole <= 0.0 {
        return None;
    }
    let mut left: Vec<&Piece<'_>> = pieces.iter().filter(|p| p.shows_a_part()).collect();
    let (mut seen, mut frames, mut shown) = (Footprint::empty(), Vec::new(), 0.0);
    loop {
        let gain = |p: &&Piece<'_>| seen.union(p.footprint).intersection(region).area_sr() - shown;
        let best = left.iter().enumerate().map(|(i, p)| (i, gain(p))).max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((i, gain)) = best.filter(|(_, g)| *g >= rules.look.least * whole) else { break };
        let p = left.remove(i);
        seen.add(p.footprint);
        frames.push(p.id);
        shown += gain;
    }
    let covered = shown / whole;
    let lost = 1.0 - covered;
    let verdict = if lost >= rules.obstructed.must {
        Verdict::NotUsable
    } else if lost >= rules.obstructed.should {
        Verdict::Limited
    } else {
        Verdict::Usable
    };
    (frames.len() > 1).then(|| Joint { view: view.name.clone(), frames, covered, verdict })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::{Modality, Next};

    fn half(upper: bool) -> Footprint {
        let at = |k: u16| {
            let m = f64::from(k) * 5.0;
            let own = (m.to_radians().sin() >= 0.0) == upper;
            RetinalPoint { eccentricity_deg: if own { 80.0 } else { 20.0 }, meridian_deg: m }.to_direction()
        };
        Footprint::from_rings(&[(0..72).map(at).collect()], Direction::ANTERIOR)
    }

    fn judged(rule: &str) -> Judgement {
        let reason = Reason { rule: rule.to_owned(), finding: None, must: true, text: String::new() };
        Judgement { verdict: Verdict::NotUsable, next: Next::TryAgain, reasons: vec![reason], advice: vec![] }
    }

    #[test]
    fn two_halves_show_a_view_together_and_a_blurred_one_does_not_count() {
        let (up, down) = (half(true), half(false));
        let region = view_region(Gaze::Primary, 75.0, 25.0);
        assert!((region.area_sr() - 4.657).abs() < 0.02, "{}", region.area_sr());
        let view = View::default_of(Modality::Colour, Gaze::Primary);
        let (lid, blur) = (judged("lid"), judged("blur"));
        let piece = |id, footprint, judgement| Piece { id, footprint, judgement };
        let both = joint(&view, &region, &[piece(1, &up, &lid), piece(2, &down, &lid)], &Rules::default());
        let both = both.unwrap();
        assert_eq!((both.frames.len(), both.verdict), (2, Verdict::Usable));
        assert!(both.covered > 0.97, "{both:?}");
        let rules = Rules::default();
        assert_eq!(joint(&view, &region, &[piece(1, &up, &lid), piece(2, &down, &blur)], &rules), None);
        assert_eq!(joint(&view, &region, &[piece(1, &up, &lid), piece(2, &up, &lid)], &rules), None);
    }

    #[test]
    fn a_turned_view_asks_for_its_own_side() {
        let views = [Gaze::Primary, Gaze::Up].map(|g| View::default_of(Modality::Colour, g));
        let all = wanted_region(views.iter(), Eye::R, 75.0, 25.0);
        let at = |e: f64, m: f64| RetinalPoint { eccentricity_deg: e, meridian_deg: m }.to_direction();
        assert!(all.share_at(at(95.0, 90.0)) > 0.9 && all.share_at(at(95.0, 270.0)) < 0.1);
    }
}
