//! What a frame really shows.

use crate::Eyeball;
use crate::circulation::Circulation;
use crate::contour::Mask;
use crate::covers::{Blink, Covers};
use crate::optics::{Landmark, Optics};
use crate::scene::{Fault, Scene};
use crate::{sensor, tissue};
use rayon::prelude::*;
use serrata_words::{
    Disc, DyeMoment, EyeMovement, Finding, FindingKind, Fovea, FrameTruth, Modality, Region, Side, SlowAxis,
    Verdict,
};

/// Retina counts as seen where the aperture's rim lets more than this share of the light through: below it a dark
/// field cannot be told from the rim.
const LIT: f32 = 0.45;
/// The same for the weak light of dye: share that still comes back from a slant.
const DIM: f32 = 0.25;

/// The truth about a frame.
pub(crate) fn of(
    eye: &Eyeball,
    scene: &Scene,
    optics: &Optics,
    covers: &Covers,
    circulation: Option<&Circulation>,
) -> FrameTruth {
    let aperture = covers.aperture();
    let all = share_base(&aperture);
    let open = open(eye, scene, optics, covers);
    let findings = findings(scene, optics, covers, &aperture);
    let [x, y] = optics.place(eye, Landmark::Disc);
    let [fx, fy] = optics.place(eye, Landmark::Fovea);
    let disc = Disc { x, y, radius: disc_radius(eye, optics), probability: 1.0 };
    let fovea = Fovea { x: fx, y: fy, probability: 1.0 };
    let visible_retina = open.region(30.0);
    let reach = reach(&open, &disc, &fovea);
    let expected = expected(scene, &findings, &disc, &fovea, reach, optics);
    FrameTruth {
        schema: FrameTruth::SCHEMA.to_owned(),
        seed: scene.seed,
        file: None,
        width: optics.size,
        height: optics.height,
        eye: scene.eye,
        labelled: scene.labelled,
        modality: scene.modality,
        gaze: scene.gaze,
        degrees_per_pixel: optics.view.picture.deg_per_px[0],
        axial_length_mm: eye.axial_length_mm,
        disc,
        fovea,
        visible_retina,
        visible_fraction: count(&open) / all,
        findings,
        expected,
        movements: optics.movements.clone(),
        dye: circulation.map(|circulation| {
            let phase = circulation.phase(scene.dye_s, scene.modality == Modality::Icg);
            DyeMoment { seconds: scene.dye_s, phase, times: circulation.times() }
        }),
        lesions: eye.lesion_truth(),
        raw: false,
    }
}

/// Cells of retina that are neither covered nor outside.
pub(crate) fn open(eye: &Eyeball, scene: &Scene, optics: &Optics, covers: &Covers) -> Mask {
    let aperture = covers.aperture();
    let nobody = scene.faults.contains(&Fault::NoRetina);
    let n = covers.cells[0];
    covers.mask(
        (0..aperture.cells.len())
            .into_par_iter()
            .map(|k| {
                let [x, y] = middle(optics, covers, k % n, k / n);
                aperture.cells[k]
                    && !nobody
                    && covers.layers.iter().all(|l| !l.hides() || l.alpha[k] < l.counts)
                    && !covers.blinked(x, y, optics.sideways)
                    && lit(scene, optics, x, y)
                    && on_retina(eye, optics, x, y)
            })
            .collect(),
    )
}

#[allow(clippy::cast_precision_loss)] // cells of a picture
fn count(mask: &Mask) -> f64 {
    mask.count() as f64
}

fn share_base(aperture: &Mask) -> f64 {
    count(aperture).max(1.0)
}

/// The pixel in the middle of a cell.
pub(crate) fn middle(optics: &Optics, covers: &Covers, i: usize, j: usize) -> [u32; 2] {
    #[allow(clippy::cast_possible_truncation)] // cells of a picture
    let at = |k: usize| k as u32 * covers.factor + covers.factor / 2;
    [at(i).min(optics.size - 1), at(j).min(optics.height - 1)]
}

/// Whether enough light comes back from a pixel's place.
fn lit(scene: &Scene, optics: &Optics, x: u32, y: u32) -> bool {
    let dye = if scene.modality == Modality::Fa { tissue::reach(on_eye(optics, x, y)) } else { 1.0 };
    sensor::rim(x, y, optics) > LIT && dye > DIM
}

fn on_retina(eye: &Eyeball, optics: &Optics, x: u32, y: u32) -> bool {
    tissue::on_retina(eye, on_eye(optics, x, y)) > 0.5
}

/// The place on the eye that a pixel's middle shows.
pub(crate) fn on_eye(optics: &Optics, x: u32, y: u32) -> [f32; 3] {
    let d = optics.pose(x, y).apply(optics.view.to_direction([f64::from(x) + 0.5, f64::from(y) + 0.5]));
    #[allow(clippy::cast_possible_truncation)] // unit vectors
    d.xyz().map(|c| c as f32)
}

/// Mean radius of the disc as drawn, in pixels.
fn disc_radius(eye: &Eyeball, optics: &Optics) -> f64 {
    let [x, y] = optics.place(eye, Landmark::Disc);
    let there = optics.view.to_direction([x, y]);
    let stretch = optics.view.stretch(there.z());
    let half = (eye.disc_half[0] * eye.disc_half[1]).sqrt();
    half * stretch / optics.view.pixel()
}

/// All faults as drawn, with score 1, largest first.
fn findings(scene: &Scene, optics: &Optics, covers: &Covers, aperture: &Mask) -> Vec<Finding> {
    let all = share_base(aperture);
    let mut out = covered(covers, aperture, all);
    for b in &covers.blinks {
        out.push(blink(scene, optics, covers, aperture, b));
    }
    for fault in &scene.faults {
        let whole = |kind| Finding::new(kind, 1.0, 1.0);
        match *fault {
            Fault::Blur { .. } => out.push(whole(FindingKind::Blur)),
            Fault::Underexposed { .. } => out.push(whole(FindingKind::Underexposed)),
            Fault::Overexposed { .. } => out.push(whole(FindingKind::Overexposed)),
            Fault::Haze { .. } => out.push(whole(FindingKind::Haze)),
            Fault::Motion { row, .. } => {
                let row = row.min(optics.lines());
                let mut f = whole(FindingKind::Motion);
                let within = |m: &&EyeMovement| m.kind == "saccade" && m.rows[0] <= row && row <= m.rows[1];
                if let Some(m) = optics.movements.iter().find(within) {
                    f.rows = Some(m.rows);
                    f.onset_ms = Some(m.onset_ms);
                    f.duration_ms = Some(m.duration_ms);
                }
                out.push(f);
            }
            Fault::NoRetina => out.push(whole(FindingKind::NoRetina)),
            _ => {}
        }
    }
    if scene.labelled_modality.is_some_and(|m| m != scene.modality) {
        out.push(Finding::new(FindingKind::WrongModality, 1.0, 1.0));
    }
    if scene.labelled.is_some_and(|l| l != scene.eye) {
        out.push(Finding::new(FindingKind::WrongEye, 1.0, 1.0));
    }
    out.sort_by(|a, b| b.fraction.total_cmp(&a.fraction));
    out
}

/// What lies in the way, by kind and side.
fn covered(covers: &Covers, aperture: &Mask, all: f64) -> Vec<Finding> {
    let mut groups: Vec<(FindingKind, Option<Side>)> = Vec::new();
    for l in &covers.layers {
        if !groups.contains(&(l.kind, l.from)) {
            groups.push((l.kind, l.from));
        }
    }
    let mut out = Vec::new();
    for (kind, from) in groups {
        let layers: Vec<_> = covers.layers.iter().filter(|l| l.kind == kind && l.from == from).collect();
        let touched = |k: usize| aperture.cells[k] && layers.iter().any(|l| l.alpha[k] >= l.counts);
        let mask = covers.mask((0..aperture.cells.len()).map(touched).collect());
        if mask.count() > 0 {
            let mut f = Finding::new(kind, 1.0, count(&mask) / all);
            f.side = from;
            f.place = mask.region(4.0);
            out.push(f);
        }
    }
    out
}

fn blink(scene: &Scene, optics: &Optics, covers: &Covers, aperture: &Mask, of: &Blink) -> Finding {
    let lines = of.lines;
    let n = covers.cells[0];
    let hit = |k: usize| {
        let [x, y] = middle(optics, covers, k % n, k / n);
        aperture.cells[k] && covers.blinked(x, y, optics.sideways)
    };
    let mask = covers.mask((0..aperture.cells.len()).map(hit).collect());
    let mut f = Finding::new(FindingKind::Blink, 1.0, count(&mask) / share_base(aperture));
    f.rows = Some(lines);
    let at = |line: u32| scene.instrument.line_ms(f64::from(line), optics.lines());
    let backwards = matches!(scene.instrument.slow_axis, SlowAxis::Up | SlowAxis::Left);
    let (first, last) = if backwards { (at(lines[1]), at(lines[0])) } else { (at(lines[0]), at(lines[1])) };
    f.onset_ms = Some(first);
    f.duration_ms = Some(last - first);
    f.place = mask.region(0.0);
    f
}

/// Share of the aperture below which lids and lashes are those of every day.
const EVERYDAY: f64 = 0.10;

/// What a photographer should say of the frame as a picture straight ahead of its kind. The rule, all of it:
///
/// * `not_usable`: the label names the other eye or another kind; nobody is there; faults that a second try can mend cover more than a
///   quarter of the aperture, lids and lashes from one side as much or from all sides more than 0.35, or all together more than 0.40; one of
///   them, but a floater, comes within two disc diameters of the fovea (straight ahead) or over the disc; blur of σ above 8 pixels of a
///   full-size picture; signal below 0.3 or above 2.5 times (6 times where dye glows before a dark ground); a jump of more than 0.3 disc
///   diameters; retina seen less than 5 disc diameters up or down from the fovea, or less than 6 to a side (straight ahead; not in infrared
///   and indocyanine green);
/// * `limited`: a floater comes so near; they cover more than a tenth, lids and lashes more than a fifth, or all together more than a
///   quarter; any blink; any jump; blur above 3 pixels; signal below 0.6 or above 1.5 times (2.5 times); haze above 0.3; retina seen less
///   than 6.5 disc diameters to any side;
/// * else `usable`.
///
/// A quarter is tolerable and a tenth is wanted (the default rules after Liu et al., Patterns 2022;3:100512). Lids and lashes
/// hang in nearly every wide picture and weigh as in the default rules of judging, those of less than a tenth only in the sum: two
/// graders took real frames of which they could read 0.70 without reservation, with lids over up to 0.11 of what was lit, and one with
/// lids over 0.29 (of several sides) with one. Real frames that had lost more than a quarter to one side were refused. Haze and a floater
/// may be the eye's own, and what another try does not mend makes no picture unusable: graders took a frame with heavy haze and one with
/// a floater before the macula with a reservation. Of a real angiogram of four times its light one did, the other with one. The limits on blur, signal and haze are judgement.
fn expected(
    scene: &Scene,
    findings: &[Finding],
    disc: &Disc,
    fovea: &Fovea,
    [vertical, horizontal]: [f64; 2],
    optics: &Optics,
) -> Verdict {
    // Dust takes a few per cent of the light and costs no view; it is the instrument's upkeep.
    let covering: Vec<&Finding> =
        findings.iter().filter(|f| !f.place.is_empty() && f.kind != FindingKind::Dust).collect();
    let hangs =
        |f: &&&Finding| matches!(f.kind, FindingKind::Lid | FindingKind::Lash | FindingKind::TooClose);
    let everyday =
        |f: &Finding| matches!(f.kind, FindingKind::Lid | FindingKind::Lash) && f.fraction < EVERYDAY;
    let all: f64 = covering.iter().map(|f| f.fraction).sum();
    let lost: f64 = covering.iter().filter(|f| !hangs(f)).map(|f| f.fraction).sum();
    let side = covering.iter().filter(hangs).map(|f| f.fraction).fold(0.0, f64::max);
    let lids: f64 = covering.iter().filter(hangs).filter(|f| !everyday(f)).map(|f| f.fraction).sum();
    let ahead = scene.gaze == serrata_words::Gaze::Primary;
    let on_pole = |f: &&&Finding| {
        ahead && touches(&f.place, [fovea.x, fovea.y], 4.0 * disc.radius)
            || touches(&f.place, [disc.x, disc.y], disc.radius)
    };
    let (floats, hides): (Vec<&Finding>, Vec<&Finding>) =
        covering.iter().filter(on_pole).partition(|f| f.kind == FindingKind::Floater);
    let wrong = scene.labelled.is_some_and(|l| l != scene.eye);
    let other = scene.labelled_modality.is_some_and(|m| m != scene.modality);
    let nobody = scene.faults.contains(&Fault::NoRetina);
    let wide = ahead && matches!(scene.modality, Modality::Colour | Modality::Faf | Modality::Fa);
    let [cut, short] = [wide && (vertical < 5.0 || horizontal < 6.0), wide && vertical.min(horizontal) < 6.5];
    let covered = lost > 0.25 || side > 0.25 || lids > 0.35 || all > 0.40 || !hides.is_empty();
    let mut worst = if wrong || other || nobody || covered || cut {
        Verdict::NotUsable
    } else if short
        || !floats.is_empty()
        || lost > 0.10
        || lids > 0.20
        || all > 0.25
        || findings.iter().any(|f| f.kind == FindingKind::Blink)
    {
        Verdict::Limited
    } else {
        Verdict::Usable
    };
    let dd = 2.0 * disc.radius * optics.view.picture.deg_per_px[0];
    for fault in &scene.faults {
        let (bad, poor) = match *fault {
            Fault::Blur { sigma } => (sigma > 8.0, sigma > 3.0),
            Fault::Underexposed { gain } | Fault::Overexposed { gain } => {
                let [most, much] = if scene.modality.is_dye() { [6.0, 2.5] } else { [2.5, 1.5] };
                (!(0.3..=most).contains(&gain), !(0.6..=much).contains(&gain))
            }
            Fault::Haze { strength } => (false, strength > 0.3),
            Fault::Motion { shift_deg, .. } => (shift_deg.abs() > 0.3 * dd, true),
            _ => (false, false),
        };
        let verdict = if bad {
            Verdict::NotUsable
        } else if poor {
            Verdict::Limited
        } else {
            Verdict::Usable
        };
        worst = worst.max(verdict);
    }
    worst
}

/// How far the retina is seen from the fovea, in the disc's diameters: the least of up and down, and the least of left and right. The last
/// retina on the way counts.
fn reach(open: &Mask, disc: &Disc, fovea: &Fovea) -> [f64; 2] {
    let step = f64::from(open.factor);
    let towards = |dx: f64, dy: f64| {
        let at = |r: usize| {
            #[allow(clippy::cast_precision_loss)] // cells of a picture
            let (x, y) = (fovea.x / step + dx * r as f64, fovea.y / step + dy * r as f64);
            if x < 0.0 || y < 0.0 {
                return None;
            }
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            // inside the picture, or not taken
            let (x, y) = (x as usize, y as usize);
            (x < open.width && y < open.height).then(|| open.cells[y * open.width + x])
        };
        let last = (0..).map_while(|r| at(r).map(|seen| (r, seen))).filter(|(_, seen)| *seen).last();
        #[allow(clippy::cast_precision_loss)] // cells of a picture
        last.map_or(0.0, |(r, _): (usize, _)| r as f64 * step / (2.0 * disc.radius))
    };
    [towards(0.0, -1.0).min(towards(0.0, 1.0)), towards(-1.0, 0.0).min(towards(1.0, 0.0))]
}

/// Whether a region comes within a distance of a point.
fn touches(region: &Region, p: [f64; 2], reach: f64) -> bool {
    let inside = |ring: &Vec<[f64; 2]>| {
        let n = ring.len();
        (0..n).filter(|i| crosses(ring[*i], ring[(i + 1) % n], p)).count() % 2 == 1
    };
    let hole = region.holes.iter().any(inside);
    let near = |ring: &Vec<[f64; 2]>| {
        serrata_eye::densify(ring, 4.0).iter().any(|q| (q[0] - p[0]).hypot(q[1] - p[1]) < reach)
    };
    region.polygons.iter().any(|r| near(r) || (inside(r) && !hole)) || region.holes.iter().any(near)
}

/// Whether a ray from `p` to the right crosses the edge.
fn crosses(a: [f64; 2], b: [f64; 2], p: [f64; 2]) -> bool {
    (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
}
