//! How much of a picture its mendable faults cover.

use crate::rules::Rules;
use serrata_words::{Finding, FindingKind, Modality, Observation};

/// Faults that lie before the retina.
pub const COVERING: [FindingKind; 6] = [
    FindingKind::Blink,
    FindingKind::Lid,
    FindingKind::Lash,
    FindingKind::OffCentre,
    FindingKind::TooClose,
    FindingKind::TooFar,
];

/// The findings that cover. Too far has all that is dark for its share, however weak a hint it is: it takes nothing of the picture
/// before its own rule counts it. All others measure what they take.
pub fn covering<'a>(
    o: &'a Observation,
    modality: Modality,
    rules: &'a Rules,
) -> impl Iterator<Item = &'a Finding> {
    let counted = move |f: &Finding| rules.of(f.kind, modality).is_some_and(|r| f.score >= r.score);
    let covers =
        move |f: &Finding| COVERING.contains(&f.kind) && (f.kind != FindingKind::TooFar || counted(f));
    o.findings.iter().filter(move |f| covers(f))
}

/// Points across the picture at which it is looked at.
const GRID: usize = 192;

/// Share of the aperture that findings cover together, 0 to 1: what two of them cover counts once. Those without a
/// place are added whole.
///
/// `within` chooses a part of the picture by its coordinates, −1 to 1 from its middle to its edges, x right, y down;
/// the share is that of the part. The aperture is taken to fill each part alike.
pub fn covered<'a>(
    o: &Observation,
    findings: impl Iterator<Item = &'a Finding>,
    within: impl Fn(f64, f64) -> bool,
) -> f64 {
    let centre = |k: usize| (k as f64 + 0.5) / GRID as f64;
    let (mut cells, mut placeless) = (vec![false; GRID * GRID], 0.0);
    for f in findings {
        if f.place.is_empty() {
            placeless += f.fraction;
            continue;
        }
        let rings = || f.place.polygons.iter().chain(&f.place.holes);
        for (row, line) in cells.chunks_exact_mut(GRID).enumerate() {
            let y = centre(row) * f64::from(o.height);
            let mut cuts: Vec<f64> = Vec::new();
            for ring in rings() {
                for (i, a) in ring.iter().enumerate() {
                    let b = ring[(i + 1) % ring.len()];
                    if (a[1] > y) != (b[1] > y) {
                        cuts.push((b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]);
                    }
                }
            }
            cuts.sort_by(f64::total_cmp);
            for (column, cell) in line.iter_mut().enumerate() {
                let x = centre(column) * f64::from(o.width);
                *cell |= cuts.partition_point(|c| *c < x) % 2 == 1;
            }
        }
    }
    let (mut part, mut lost) = (0usize, 0usize);
    for (k, cell) in cells.iter().enumerate() {
        if within(centre(k % GRID).mul_add(2.0, -1.0), centre(k / GRID).mul_add(2.0, -1.0)) {
            part += 1;
            lost += usize::from(*cell);
        }
    }
    let share = lost as f64 / part.max(1) as f64;
    (share / o.aperture_fraction.max(1e-6) + placeless).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::{EyeInference, Method, Region, Sharpness, VisibleRetina};

    fn seen(findings: Vec<Finding>) -> Observation {
        Observation {
            method: Method::new("observe", 0),
            width: 100,
            height: 100,
            aperture_fraction: 1.0,
            visible_retina: VisibleRetina {
                fraction: 1.0,
                fraction_of_picture: 1.0,
                place: Region::default(),
            },
            findings,
            eye: EyeInference { inferred: None, probability: 0.5 },
            disc: None,
            fovea: None,
            reach: None,
            sharpness: Sharpness { value: 1.0, unit: String::new() },
        }
    }

    fn share(findings: Vec<Finding>) -> f64 {
        let (o, rules) = (seen(findings), Rules::default());
        covered(&o, covering(&o, Modality::Fa, &rules), |_, _| true)
    }

    fn lid() -> Finding {
        let mut lid = Finding::new(FindingKind::Lid, 0.2, 0.1);
        lid.place.polygons = vec![vec![[0.0, 0.0], [100.0, 0.0], [100.0, 10.0], [0.0, 10.0]]];
        lid
    }

    #[test]
    fn a_hint_of_too_far_covers_nothing() {
        let far = |score| Finding::new(FindingKind::TooFar, score, 0.27);
        assert_eq!(share(vec![far(0.04)]), 0.0);
        assert!((share(vec![far(0.6)]) - 0.27).abs() < 1e-12);
    }

    #[test]
    fn a_lost_side_covers_what_it_measures_beside_a_lid() {
        let lost = Finding::new(FindingKind::OffCentre, 0.4, 0.2);
        assert!((share(vec![lost, lid()]) - 0.3).abs() < 0.01);
    }

    #[test]
    fn a_small_lid_covers_its_place_however_low_its_score() {
        assert!((share(vec![lid()]) - 0.1).abs() < 0.01);
    }
}
