//! What a mendable fault hides of the macula and the disc, in pictures straight ahead.

use crate::judge::{asks_reach, glares};
use crate::rules::Rules;
use serrata_words::{EyeState, Finding, Observation, Reason, Region, View};

/// Reasons against a picture straight ahead in which a mendable fault with a place comes close to the fovea or over the disc, or a
/// reservation where what comes there may be the eye's own: one at most, of the surest fault, musts first. None where no disc was
/// found, for distances are told in its diameters, and none in moments of a dye run that ask for something else.
pub fn reasons(o: &Observation, view: &View, eye: &EyeState, rules: &Rules) -> Vec<Reason> {
    let rule = &rules.pole;
    if !asks_reach(view) || !rule.only.contains(&view.modality) {
        return Vec::new();
    }
    let Some(disc) = o.disc.filter(|d| d.probability > rule.certain) else { return Vec::new() };
    let fovea = o.fovea.filter(|f| f.probability > rule.certain);
    let near = rule.fovea * 2.0 * disc.radius;
    let counts = |kind, score: f64| rules.of(kind, view.modality).is_some_and(|r| score >= r.score);
    let mends =
        |f: &&Finding| rule.kinds.contains(&f.kind) && counts(f.kind, f.score) && !glares(eye, f.kind);
    let perhaps = |f: &&Finding| rule.perhaps.contains(&f.kind) && f.score >= rule.perhaps_score;
    let musts = o.findings.iter().filter(mends).map(|f| (f, true));
    musts
        .chain(o.findings.iter().filter(perhaps).map(|f| (f, false)))
        .find_map(|(f, must)| {
            let text = if fovea.is_some_and(|p| comes_within(&f.place, [p.x, p.y], near)) {
                format!("{}, within {} disc diameters of the fovea", f.kind.screen(), rule.fovea)
            } else if comes_within(&f.place, [disc.x, disc.y], disc.radius) {
                format!("{}, over the disc", f.kind.screen())
            } else {
                return None;
            };
            Some(Reason { rule: "pole".to_owned(), finding: Some(f.kind), must, text })
        })
        .into_iter()
        .collect()
}

/// Whether a region comes within a distance of a point, or holds it.
fn comes_within(place: &Region, p: [f64; 2], reach: f64) -> bool {
    let edges =
        place.polygons.iter().chain(&place.holes).flat_map(|r| r.iter().zip(r.iter().cycle().skip(1)));
    place.contains(p) || edges.into_iter().any(|(a, b)| from_edge(p, *a, *b) < reach)
}

/// Distance of a point from an edge.
fn from_edge(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (along, off) = ([b[0] - a[0], b[1] - a[1]], [p[0] - a[0], p[1] - a[1]]);
    let long = along[0] * along[0] + along[1] * along[1];
    let t = if long > 0.0 { ((off[0] * along[0] + off[1] * along[1]) / long).clamp(0.0, 1.0) } else { 0.0 };
    (off[0] - t * along[0]).hypot(off[1] - t * along[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, half: f64) -> Region {
        let ring =
            vec![[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]];
        Region { polygons: vec![ring], holes: Vec::new() }
    }

    #[test]
    fn a_region_is_near_a_point_inside_it_and_beside_it() {
        let at = square(100.0, 100.0, 20.0);
        assert!(comes_within(&at, [100.0, 100.0], 1.0), "inside, far from its edges");
        assert!(comes_within(&at, [125.0, 100.0], 6.0) && !comes_within(&at, [125.0, 100.0], 4.0));
        // Beside a corner the straight distance counts: 5 × √2.
        assert!(comes_within(&at, [125.0, 125.0], 7.1) && !comes_within(&at, [125.0, 125.0], 7.0));
    }

    #[test]
    fn a_hole_is_not_the_region() {
        let mut at = square(100.0, 100.0, 40.0);
        at.holes = square(100.0, 100.0, 20.0).polygons;
        assert!(!comes_within(&at, [100.0, 100.0], 10.0));
        assert!(comes_within(&at, [100.0, 130.0], 5.0));
        assert!(!comes_within(&Region::default(), [0.0, 0.0], 1e9));
    }
}
