//! Dye on its way: arterial input, transit through the vessel trees, capillaries, veins, leakage.

use crate::Eyeball;
use crate::health::Lesion;
use crate::noise::cloud;
use crate::params::{ParamError, within};
use crate::vessels::Tree;
use rayon::prelude::*;
use serrata_words::{DyePhase, DyeTimes, LesionKind};

/// How the dye comes and goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Seconds from injection to the first dye in the artery at the disc. Published: about 12 s, spread 24 % from
    /// person to person (Wolf, Arend & Reim, Surv Ophthalmol 1994;38 suppl).
    pub arm_to_retina_s: f64,
    /// Speed of the retinal circulation against the default, 0.2 to 4.
    pub speed: f64,
}

impl Default for Course {
    fn default() -> Self {
        Self { arm_to_retina_s: 12.0, speed: 1.0 }
    }
}

impl Course {
    pub(crate) fn check(&self) -> Result<(), ParamError> {
        within("arm-to-retina time in seconds", self.arm_to_retina_s, 4.0..=60.0)?;
        within("speed of the circulation", self.speed, 0.2..=4.0)
    }
}

/// The choroid fills this much sooner than the retinal artery (1 to 2 s: lecture notes and two more sources quoted
/// in the reference brief).
const CHOROID_LEAD_S: f32 = 1.5;
/// Mean velocity in the widest artery and vein, mm/s. Velocity falls with the calibre as flow does with its cube
/// (Murray); the size is chosen so that the arterio-venous passage (1.46 s) and the mean circulation time (4.7 s,
/// Hickam & Frayser 1965) come out.
const ARTERY_MM_S: f32 = 19.3;
const VEIN_MM_S: f32 = 13.2;
/// Through the capillaries, s.
const CAPILLARY_S: f32 = 0.68;
/// Time from the bolus' foot to a tenth of its peak, s: solved from [`bolus`].
const FOOT_S: f32 = 1.56;

/// First pass, recirculation and what stays in the blood, at `t` seconds after the bolus' foot; peak about 1.
///
/// A gamma variate (Thompson et al. 1964, from memory) that peaks at 12 s: the injection alone lasts 5 to 10 s (label), and
/// heart and lungs spread it; so veins are brightest about 30 s after the injection, as published. A second, flatter pass
/// 26 s later; mixing with the whole blood, and loss: fluorescein with two time constants, ICG by the liver with a half-life of 3.5 min (both from
/// memory, in the range that textbooks give).
pub(crate) fn bolus(t: f32, icg: bool) -> f32 {
    if t <= 0.0 {
        return 0.0;
    }
    let gamma = |t: f32, peak: f32, a: f32| {
        if t <= 0.0 { 0.0 } else { ((t / peak).ln() * a + a * (1.0 - t / peak)).exp() }
    };
    let stays = if icg { (-t / 303.0).exp() } else { 0.55 * (-t / 170.0).exp() + 0.45 * (-t / 2400.0).exp() };
    0.72 * gamma(t, 12.0, 2.2) + 0.14 * gamma(t - 26.0, 12.0, 2.0) + 0.42 * (1.0 - (-t / 16.0).exp()) * stays
}

/// The bolus smeared by a spread of transit times: five-point Gauss–Hermite quadrature.
fn smeared(t: f32, sigma: f32, icg: bool) -> f32 {
    const X: [(f32, f32); 5] = [
        (0.0, 0.533_333),
        (1.355_626, 0.222_076),
        (-1.355_626, 0.222_076),
        (2.856_97, 0.011_257),
        (-2.856_97, 0.011_257),
    ];
    X.iter().map(|(x, w)| w * bolus(t - sigma * x, icg)).sum()
}

/// Transit times over one eye's trees.
#[derive(Debug)]
pub(crate) struct Circulation {
    course: Course,
    /// Seconds from the disc's artery to each arterial point; NaN where nothing flows.
    artery: Vec<f32>,
    /// Seconds from the disc's artery to each venous point: mean, standard deviation, soonest. NaN where nothing flows.
    vein: Vec<[f32; 3]>,
    /// Index of the vein's point at the disc with the largest flow.
    trunk: usize,
    /// Integral of the bolus over time, one a second.
    sums: [Vec<f32>; 2],
}

impl Circulation {
    pub fn new(eye: &Eyeball, course: Course) -> Self {
        #[allow(clippy::cast_possible_truncation)] // millimetres, seconds
        let (radius, speed) = ((eye.axial_length_mm / 2.0) as f32, course.speed.clamp(0.2, 4.0) as f32);
        let artery = downstream(eye, radius, speed);
        let vein = upstream(eye, &artery, radius, speed);
        let trunk = (0..eye.veins.points.len())
            .filter(|i| eye.veins.parent[*i] as usize == *i && vein[*i][0].is_finite())
            .max_by(|a, b| eye.veins.half[*a].total_cmp(&eye.veins.half[*b]))
            .unwrap_or(0);
        let sums = [false, true].map(|icg| {
            let mut sum = 0.0;
            (0..7200u16)
                .map(|t| {
                    sum += bolus(f32::from(t) + 0.5, icg);
                    sum
                })
                .collect()
        });
        Self { course, artery, vein, trunk, sums }
    }

    /// The clock of one moment.
    pub fn at(&self, seconds: f64, icg: bool) -> Moment<'_> {
        #[allow(clippy::cast_possible_truncation)] // seconds
        let t = (seconds - self.course.arm_to_retina_s) as f32 + FOOT_S;
        Moment { of: self, t: if t.is_finite() { t } else { -1e3 }, icg }
    }

    /// The times that the truth tells, by scanning the model's own curves at the disc.
    pub fn times(&self) -> DyeTimes {
        let [mean, sd, soonest] = self.vein[self.trunk];
        let first = |f: &dyn Fn(f32) -> f32| {
            let peak = (0..3000u16).map(|k| f(f32::from(k) * 0.02)).fold(0.0, f32::max);
            (0..3000u16).map(|k| f32::from(k) * 0.02).find(|t| f(*t) >= 0.1 * peak).unwrap_or(f32::NAN)
        };
        let artery = first(&|t| bolus(t, false));
        let wall = first(&|t| bolus(t - soonest, false));
        let full = (0..2400u16)
            .map(|k| f32::from(k) * 0.05)
            .max_by(|a, b| smeared(a - mean, sd, false).total_cmp(&smeared(b - mean, sd, false)))
            .unwrap_or(0.0);
        let arm = self.course.arm_to_retina_s;
        DyeTimes {
            arm_to_retina_s: arm + f64::from(artery - FOOT_S),
            choroid_s: arm + f64::from(artery - FOOT_S - CHOROID_LEAD_S),
            arteriovenous_passage_s: f64::from(wall - artery),
            mean_circulation_s: f64::from(mean),
            venous_peak_s: arm + f64::from(full - FOOT_S),
        }
    }

    /// The phase at a moment: of fluorescein by what the vessels at the disc hold, of ICG by the clock (early to 3
    /// min, mid to 15 min, late after: the reference brief, from memory).
    pub fn phase(&self, seconds: f64, icg: bool) -> DyePhase {
        let times = self.times();
        let since = seconds - times.arm_to_retina_s;
        if seconds < times.choroid_s {
            DyePhase::Before
        } else if icg {
            if seconds < 180.0 {
                DyePhase::Early
            } else if seconds < 900.0 {
                DyePhase::Mid
            } else {
                DyePhase::Late
            }
        } else if since < 0.0 {
            DyePhase::Choroidal
        } else if since < times.arteriovenous_passage_s {
            DyePhase::Arterial
        } else if since < times.arteriovenous_passage_s + times.mean_circulation_s {
            DyePhase::LaminarVenous
        } else if seconds < 60.0 {
            DyePhase::Venous
        } else if seconds < 300.0 {
            DyePhase::Mid
        } else {
            DyePhase::Late
        }
    }
}

/// Angle between two unit vectors, good for small ones.
fn angle(a: [f32; 3], b: [f32; 3]) -> f32 {
    let d = [0, 1, 2].map(|i: usize| a[i] - b[i]);
    2.0 * ((d[0] * d[0] + d[1] * d[1] + d[2] * d[2]).sqrt() / 2.0).min(1.0).asin()
}

fn widest(tree: &Tree) -> f32 {
    tree.half.iter().copied().fold(1e-6, f32::max)
}

fn blocked(eye: &Eyeball, p: [f32; 3]) -> bool {
    eye.lesions.iter().any(|l| l.kind == LesionKind::NonPerfusion && l.inside(p) > 0.5)
}

/// Seconds along the arteries, from the disc outwards.
fn downstream(eye: &Eyeball, radius: f32, speed: f32) -> Vec<f32> {
    let tree = &eye.arteries;
    let most = widest(tree);
    let mut out = vec![0f32; tree.points.len()];
    for i in 0..out.len() {
        let p = tree.parent[i] as usize;
        if p != i {
            let v = speed * ARTERY_MM_S * (tree.half[i] / most).max(0.12);
            out[i] = out[p] + angle(tree.points[i], tree.points[p]) * radius / v;
        }
        if blocked(eye, tree.points[i]) {
            out[i] = f32::NAN;
        }
    }
    out
}

/// Seconds to each venous point: the flow-weighted mean over all that drains into it, its spread, and the soonest.
fn upstream(eye: &Eyeball, artery: &[f32], radius: f32, speed: f32) -> Vec<[f32; 3]> {
    let tree = &eye.veins;
    let n = tree.points.len();
    let most = widest(tree);
    let leaf: Vec<bool> = (0..n).map(|i| tree.next[i] as usize == i).collect();
    // A venule is fed by the arteriole nearest to it.
    let fed: Vec<f32> = (0..n)
        .into_par_iter()
        .map(|i| {
            if !leaf[i] || blocked(eye, tree.points[i]) {
                return f32::NAN;
            }
            let p = tree.points[i];
            let mut best = (f32::MIN, f32::NAN);
            for (q, s) in eye.arteries.points.iter().zip(artery) {
                let c = p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
                if c > best.0 && s.is_finite() {
                    best = (c, *s);
                }
            }
            best.1 + CAPILLARY_S / speed
        })
        .collect();
    // Weight, sum, sum of squares, soonest.
    let mut all = vec![[0f32, 0.0, 0.0, f32::INFINITY]; n];
    for i in (0..n).rev() {
        if fed[i].is_finite() {
            let s = fed[i];
            all[i] = [1.0, s, s * s, s];
        }
        let p = tree.parent[i] as usize;
        if p != i && all[i][0] > 0.0 {
            let v = speed * VEIN_MM_S * (tree.half[i] / most).max(0.12);
            let d = angle(tree.points[i], tree.points[p]) * radius / v;
            let [w, s, q, m] = all[i];
            all[p] = [
                all[p][0] + w,
                all[p][1] + s + w * d,
                all[p][2] + q + 2.0 * d * s + w * d * d,
                all[p][3].min(m + d),
            ];
        }
    }
    all.iter()
        .map(|[w, s, q, m]| {
            if *w <= 0.0 {
                return [f32::NAN; 3];
            }
            let mean = s / w;
            [mean, (q / w - mean * mean).max(0.0).sqrt() + 0.25, *m]
        })
        .collect()
}

/// One moment of the dye's course.
pub(crate) struct Moment<'a> {
    of: &'a Circulation,
    /// Seconds since the bolus' foot reached the disc's artery.
    t: f32,
    icg: bool,
}

impl Moment<'_> {
    /// Concentration in an artery: middle and wall.
    pub fn artery(&self, i: usize) -> [f32; 2] {
        let s = self.of.artery[i];
        let c = if s.is_finite() { smeared(self.t - s, 0.08 * s, self.icg) } else { 0.0 };
        [c, c]
    }

    /// Concentration in a vein: middle and wall. What drains from near by joins last and runs along the wall, what
    /// comes from far runs in the middle; so the wall shines first.
    pub fn vein(&self, i: usize) -> [f32; 2] {
        let [mean, sd, soonest] = self.of.vein[i];
        if !mean.is_finite() {
            return [0.0; 2];
        }
        let wall = soonest.max(mean - 1.6 * sd);
        [
            smeared(self.t - mean - 0.35 * sd, 0.8 * sd, self.icg),
            smeared(self.t - wall - 0.3 * sd, 0.3 * sd, self.icg),
        ]
    }

    /// Concentration in the choroid at a place: it fills in patches.
    pub fn choroid(&self, p: [f32; 3], seed: u32) -> f32 {
        let patchy = 1.1 * (1.0 + cloud(p, 7.0, 2, seed ^ 0xc0));
        smeared(self.t + CHOROID_LEAD_S - patchy.max(0.0), 0.6, self.icg)
    }

    /// Concentration in the retinal capillaries at an angle from the disc.
    pub fn capillary(&self, off_disc: f32) -> f32 {
        #[allow(clippy::cast_possible_truncation)] // a factor
        let speed = self.of.course.speed.clamp(0.2, 4.0) as f32;
        smeared(self.t - (0.5 + 1.6 * off_disc + 0.6 * CAPILLARY_S) / speed, 0.5, self.icg)
    }

    /// What has gone through a leaking wall or into a scar so far, 0 to about 1 after many minutes.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // cut to the table
    pub fn gathered(&self) -> f32 {
        if self.t < 1.0 {
            return 0.0;
        }
        let sums = &self.of.sums[usize::from(self.icg)];
        1.0 - (-sums[(self.t as usize).min(sums.len() - 1)] / 70.0).exp()
    }

    /// Radius of a leak's pool, radians: it spreads by diffusion, √(4Dt) with D = 1.5e-4 mm²/s (judgement: some
    /// 0.6 mm in 10 min).
    pub fn pool(&self, leak: &Lesion, radius_mm: f32) -> f32 {
        leak.radius + (4.0 * 1.5e-4 * self.t.max(0.0)).sqrt() / radius_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_foot_is_where_a_tenth_of_the_peak_is_reached() {
        let peak = (0..400).map(|k| bolus(k as f32 * 0.05, false)).fold(0.0, f32::max);
        assert!((0.9..1.2).contains(&peak), "{peak}");
        assert!((bolus(FOOT_S, false) / peak - 0.1).abs() < 0.02, "{}", bolus(FOOT_S, false) / peak);
    }

    #[test]
    fn smearing_keeps_the_dye() {
        let sum = |f: &dyn Fn(f32) -> f32| (0..4000).map(|k| f(k as f32 * 0.01 - 10.0)).sum::<f32>();
        let (a, b) = (sum(&|t| bolus(t, true)), sum(&|t| smeared(t, 0.7, true)));
        assert!((a / b - 1.0).abs() < 0.01, "{a} {b}");
    }
}
