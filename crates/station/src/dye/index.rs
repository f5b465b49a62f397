//! What share of the retina seen is dark, or brightens late: in all, and by zones.

use serrata_eye::Stereographic;
use serrata_words::round::six_digits;
use serrata_words::{Disc, DyeIndex, DyeRegion, DyeZone};

/// Outer radii of the rings about the fovea, disc diameters (judgement).
const RINGS: [f64; 3] = [2.0, 4.0, 8.0];

/// Radius of the disc's own zone about its middle, disc diameters (judgement).
const DISC_ZONE: f64 = 1.0;

/// Area of a normal eye's perfused retina, mm² (Sadda et al. 2015): the denominator of the normalised share.
const NORMAL_MM2: f64 = 979.99;

/// What an index is made of, in small pixels row by row.
pub(super) struct Seen<'a> {
    pub width: usize,
    pub gradable: &'a [bool],
    pub dark: &'a [bool],
    pub late: &'a [bool],
    /// The disc, small pixels.
    pub disc: Option<&'a Disc>,
    /// The fovea, small pixels.
    pub fovea: Option<[f64; 2]>,
    /// Projection of the small picture; a nominal one where none is known.
    pub projection: Stereographic,
}

/// The index of a run; none where nothing could be graded. Each pixel counts by the solid angle that it spans.
pub(super) fn index(
    seen: &Seen<'_>,
    regions: &[DyeRegion],
    dark_word: &str,
    known: bool,
) -> Option<DyeIndex> {
    let at = |k: usize| {
        #[allow(clippy::cast_precision_loss)] // pixels
        let p = [(k % seen.width) as f64 + 0.5, (k / seen.width) as f64 + 0.5];
        p
    };
    let weight = |k: usize| {
        let scale =
            Stereographic::local_scale(seen.projection.to_direction(at(k)).z().clamp(-1.0, 1.0).acos());
        scale * scale
    };
    let zone = |k: usize| {
        let diameter = 2.0 * seen.disc?.radius;
        let off = |c: [f64; 2]| (at(k)[0] - c[0]).hypot(at(k)[1] - c[1]) / diameter;
        if off([seen.disc?.x, seen.disc?.y]) < DISC_ZONE {
            return Some(0);
        }
        let from_fovea = off(seen.fovea?);
        Some(1 + RINGS.iter().position(|r| from_fovea < *r).unwrap_or(RINGS.len()))
    };
    let mut sums = [[0.0f64; 3]; RINGS.len() + 2];
    let mut all = [0.0f64; 3];
    for k in (0..seen.gradable.len()).filter(|k| seen.gradable[*k]) {
        let w = weight(k);
        let part = [w, if seen.dark[k] { w } else { 0.0 }, if seen.late[k] { w } else { 0.0 }];
        let zone = zone(k);
        for c in 0..3 {
            all[c] += part[c];
            if let Some(z) = zone {
                sums[z][c] += part[c];
            }
        }
    }
    if all[0] <= 0.0 {
        return None;
    }
    let [a, b, c] = RINGS;
    let names = [
        format!("disc, within {DISC_ZONE} disc diameter of its middle"),
        format!("macula, within {a} disc diameters of the fovea"),
        format!("ring, {a} to {b} disc diameters from the fovea"),
        format!("ring, {b} to {c} disc diameters from the fovea"),
        format!("beyond {c} disc diameters from the fovea"),
    ];
    let zones = names.into_iter().zip(sums).filter(|(_, s)| s[0] > 0.0).map(|(name, s)| DyeZone {
        name,
        of_gradable: s[0] / all[0],
        dark: s[1] / s[0],
        late: s[2] / s[0],
    });
    let mm2: f64 =
        regions.iter().filter(|r| r.what == dark_word && r.note.is_none()).filter_map(|r| r.area_mm2).sum();
    Some(DyeIndex {
        denominator: "gradable area in the frame, by solid angle".to_owned(),
        dark: all[1] / all[0],
        late: all[2] / all[0],
        normalised_dark: known.then(|| six_digits(mm2 / NORMAL_MM2)),
        normalised_by: format!("{NORMAL_MM2} mm², mean of normal eyes (Sadda et al. 2015)"),
        zones: zones.collect(),
    })
}
