//! Retinal arteries and veins: trunks along the arcades, then branches that grow towards parts of the retina that
//! nothing supplies yet (space colonisation, Runions et al. 2005, here on the sphere), calibres after Murray's law.

use rand::RngExt;
use rand_pcg::Pcg64Mcg;
use serrata_eye::{Direction, RetinalPoint};

/// Arteries or veins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Artery,
    Vein,
}

/// A tree of vessels. Point `i` hangs on `parent[i]`, or starts a trunk at the disc where that is `i` itself.
#[derive(Debug, Clone)]
pub(crate) struct Tree {
    pub points: Vec<[f32; 3]>,
    pub parent: Vec<u32>,
    /// The child that carries on the vessel (the widest), or the point itself at an end.
    pub next: Vec<u32>,
    /// Half calibre in radians at the sphere's centre.
    pub half: Vec<f32>,
}

/// Length of one step of growth, radians.
const STEP: f32 = 0.9 * std::f32::consts::PI / 180.0;
/// Growth goes from coarse to fine: how many places ask for supply, and from which distance to the nearest vessel on (radians). So long
/// branches come first, and twigs fill in between them.
const ROUNDS: [(usize, f32); 5] = [(110, 0.130), (260, 0.085), (460, 0.056), (700, 0.041), (300, 0.031)];
/// The same for the macula, out to so many radians from the fovea: small vessels come to it from all sides.
const MACULA: (usize, f32, f32) = (200, 0.021, 0.20);
/// Share of that distance at which a place is supplied: a branch that was asked for grows most of the way, so that none is a mere thorn.
const REACHED: f32 = 0.3;
/// Steps below which an end is taken off again.
const THORN: usize = 4;
/// Radius of the avascular zone round the fovea, radians: 0.3 mm or so.
const AVASCULAR: f32 = 1.5 * std::f32::consts::PI / 180.0;

/// Share of an end's flow that every step of a vessel gives to twigs too thin to be drawn (judgement: so a trunk thins out about as
/// fast as in real frames, where far more leaves it than is seen).
const SHED: f32 = 0.40;

/// A trunk of a right eye.
struct Trunk {
    /// The trunk and the point of it that this one leaves, or none where it leaves the disc.
    from: Option<(usize, usize)>,
    /// How often it is there.
    odds: f64,
    /// Points in degrees from the fovea: nasal, superior.
    way: &'static [[f32; 2]],
}

/// Drawn by hand after how vessels run in ultra-widefield pictures. The four arcades leave the disc up and down: the temporal ones
/// go round the macula and then outwards along the horizontal, the nasal ones slantwise. What supplies the rest leaves them at wide
/// angles, or leaves the disc on its own as one of the [`rays`].
const TRUNKS: [Trunk; 12] = [
    Trunk {
        from: None,
        odds: 1.,
        way: &[[17., 8.], [9., 13.5], [-2., 15.5], [-15., 15.], [-30., 18.], [-46., 20.]],
    },
    Trunk {
        from: None,
        odds: 1.,
        way: &[[17., -6.], [8., -13.], [-3., -15.5], [-17., -15.], [-32., -19.], [-48., -22.]],
    },
    Trunk { from: None, odds: 1., way: &[[24., 9.], [29., 20.], [37., 32.], [46., 43.]] },
    Trunk { from: None, odds: 1., way: &[[24., -7.], [30., -18.], [39., -30.], [49., -41.]] },
    Trunk { from: Some((0, 1)), odds: 0.65, way: &[[8., 24.], [3., 38.], [-5., 52.]] },
    Trunk { from: Some((1, 1)), odds: 0.65, way: &[[8., -23.], [4., -38.], [-3., -53.]] },
    Trunk { from: Some((0, 3)), odds: 0.65, way: &[[-22., 24.], [-30., 34.], [-40., 42.]] },
    Trunk { from: Some((1, 3)), odds: 0.65, way: &[[-23., -24.], [-31., -34.], [-41., -42.]] },
    Trunk { from: Some((2, 0)), odds: 0.65, way: &[[37., 13.], [50., 16.], [62., 17.]] },
    Trunk { from: Some((3, 0)), odds: 0.65, way: &[[38., -12.], [51., -15.], [63., -16.]] },
    Trunk { from: Some((2, 1)), odds: 0.65, way: &[[27., 34.], [24., 48.], [20., 60.]] },
    Trunk { from: Some((3, 1)), odds: 0.65, way: &[[28., -33.], [25., -47.], [21., -60.]] },
];

/// About where the disc lies, degrees from the fovea, nasal and superior: what the ways of trunks begin at.
const DISC: [f32; 2] = [21.5, 2.0];

/// Ways of the small and medium vessels that leave the disc between the arcades, straight out and to all sides (after real
/// ultra-widefield frames: a dozen and more; how many and where is judgement). Those to the macula are short and bend towards it.
fn rays(rng: &mut Pcg64Mcg) -> Vec<Vec<[f32; 2]>> {
    let mut out = Vec::new();
    // Sector about the disc in degrees from nasal, how many at most, and how far they reach in degrees.
    for (sector, most, reach) in
        [([-48., 48.], 5, 16.0..46.0f32), ([62., 128.], 3, 9.0..30.0), ([-128., -62.], 3, 9.0..30.0)]
    {
        let [from, to]: [f32; 2] = sector;
        let many = rng.random_range(1..=most);
        for k in 0..many {
            #[allow(clippy::cast_precision_loss)] // a few
            let turn = from + (to - from) * (k as f32 + rng.random_range(0.1..0.9f32)) / many as f32;
            let s = turn.to_radians().sin();
            let far = rng.random_range(reach.clone());
            // Up and down they bend towards the temple, as the arcades do.
            let bend = rng.random_range(-0.25..0.55f32) * s.abs() * s.signum();
            out.push(
                [0.35, 0.7, 1.0]
                    .map(|t| {
                        let (s, c) = (turn.to_radians() + bend * t * t).sin_cos();
                        [DISC[0] + far * t * c, DISC[1] + far * t * s]
                    })
                    .into(),
            );
        }
    }
    for up in [1.0, -1.0f32] {
        for _ in 0..rng.random_range(0..=2) {
            let (rise, end) = (rng.random_range(1.5..6.5), rng.random_range(4.0..11.0));
            out.push(vec![[16., up * rise], [end, up * rng.random_range(2.2..5.0)]]);
        }
    }
    out
}

type V = [f32; 3];

fn dot(a: V, b: V) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(v: V) -> V {
    let n = dot(v, v).sqrt().max(1e-20);
    v.map(|c| c / n)
}

/// The part of `v` along the sphere's surface at `p`.
fn along(p: V, v: V) -> V {
    let k = dot(p, v);
    [v[0] - k * p[0], v[1] - k * p[1], v[2] - k * p[2]]
}

fn add(a: V, b: V, k: f32) -> V {
    [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]]
}

#[allow(clippy::cast_possible_truncation)] // unit vectors
fn single(d: Direction) -> V {
    d.xyz().map(|c| c as f32)
}

/// Where vessels end, radians from the fovea: after the distances disc to vascular edge of Sadda et al., EURETINA
/// 2015 (T 22.45, I 20.42, S 19.22, N 17.37 mm) and Jiang et al., Int J Ophthalmol 2021;14(12) (T 24.24, N 17.74 mm),
/// smoothed over the meridians, for a sphere of that radius in mm.
fn edge(p: V, disc: V, radius: f32) -> bool {
    let side = along(disc, p);
    let (right, up) = (unit(along(disc, [1., 0., 0.])), unit(along(disc, [0., 1., 0.])));
    let (x, y) = (dot(side, right), dot(side, up));
    let n = x.hypot(y).max(1e-6);
    let (cx, cy) = (x / n, y / n);
    let horizontal = if cx > 0.0 { 17.6 } else { 23.6 };
    let vertical = if cy > 0.0 { 19.1 } else { 19.4 };
    let mm = horizontal * cx * cx + vertical * cy * cy;
    dot(p, disc).clamp(-1.0, 1.0).acos() * radius < mm
}

/// Grows one tree in a right eye.
pub(crate) fn grow(rng: &mut Pcg64Mcg, disc: Direction, radius_mm: f64, kind: Kind) -> Tree {
    let disc = single(disc);
    #[allow(clippy::cast_possible_truncation)] // millimetres
    let radius = radius_mm as f32;
    let mut growth =
        Growth { disc, points: Vec::new(), parent: Vec::new(), heading: Vec::new(), children: Vec::new() };
    // Points of each trunk at its goals.
    let mut laid: Vec<Vec<usize>> = Vec::new();
    for trunk in &TRUNKS {
        let there = rng.random_bool(trunk.odds);
        let start = trunk.from.map(|(t, k)| laid.get(t).and_then(|l| l.get(k)).copied());
        // What should leave a trunk that ends before is not there either.
        laid.push(if !there || start == Some(None) {
            Vec::new()
        } else {
            growth.trunk(rng, start.flatten(), trunk.way, kind)
        });
    }
    for way in rays(rng) {
        growth.trunk(rng, None, &way, kind);
    }
    // Some retinas are rich in twigs, some poor.
    let twigs = rng.random_range(0.55..1.10f64);
    for (round, (places, asks)) in ROUNDS.into_iter().enumerate() {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
        // some hundreds
        let places = if round < 2 { places } else { (places as f64 * twigs) as usize };
        let mut places = scatter(rng, disc, radius, places, -0.5);
        growth.colonise(rng, &mut places, asks);
    }
    let (places, asks, out) = MACULA;
    let mut places = scatter(rng, disc, radius, places, out.cos());
    growth.colonise(rng, &mut places, asks);
    let (mut points, parent) = without_thorns(&growth.points, &growth.parent);
    let (flow, next) = flows(&parent);
    // Widest trunk; veins at the disc are 84 to 177 µm, a temporal arteriole 105 µm (plausibility bounds):
    // within them by judgement, after the calibres of real pictures.
    let widest = if kind == Kind::Artery { 0.112 } else { 0.150 } / 2.0 / radius;
    let most = flow.iter().copied().fold(1.0, f32::max);
    let half: Vec<f32> = flow.iter().map(|f| widest * (f / most).cbrt()).collect();
    settle(&mut points, &parent, &half);
    Tree { points, parent, next, half }
}

struct Growth {
    /// The disc's centre: vessels lead away from it.
    disc: V,
    points: Vec<V>,
    parent: Vec<u32>,
    heading: Vec<V>,
    children: Vec<u8>,
}

impl Growth {
    fn push(&mut self, p: V, parent: usize, heading: V) -> usize {
        let i = self.points.len();
        self.points.push(p);
        #[allow(clippy::cast_possible_truncation)] // some thousands of points
        self.parent.push(if parent == usize::MAX { i as u32 } else { parent as u32 });
        self.heading.push(heading);
        self.children.push(0);
        if parent != usize::MAX {
            self.children[parent] += 1;
        }
        i
    }

    /// Lays one trunk from the disc or from a point along its way, shifted and bent at random; tells the points at which it
    /// passed its goals.
    fn trunk(&mut self, rng: &mut Pcg64Mcg, from: Option<usize>, way: &[[f32; 2]], kind: Kind) -> Vec<usize> {
        let disc = self.disc;
        let shift = if kind == Kind::Artery { 1.0 } else { -1.0 };
        let stretch = rng.random_range(0.85..1.18f32);
        let (ts, tc) = rng.random_range(-0.13..0.13f32).sin_cos();
        let length = rng.random_range(0.55..1.0f32);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)]
        // a few points
        let way = &way[..((way.len() as f32 * length).ceil() as usize).clamp(2.min(way.len()), way.len())];
        // Vessels come up along the nasal wall of the cup, those for above and for below each on their side of it.
        let rise = way[0][1] - DISC[1];
        let up = rise / (way[0][0] - DISC[0]).hypot(rise).max(1.0);
        let aside = (way[0][0] - DISC[0]) / (way[0][0] - DISC[0]).hypot(rise).max(1.0);
        let out = rng.random_range(0.006..0.030);
        let start = [0.009 + 0.8 * out * aside, out * up + rng.random_range(-0.006..0.006), 0.];
        let start = unit(add(disc, start, 1.0));
        let mut goals = Vec::new();
        for [x, y] in way {
            // An artery and a vein keep together near the disc and go their own ways further out.
            let far = 0.03 * x.hypot(*y) + 0.09 * (x - DISC[0]).hypot(y - DISC[1]);
            let y =
                y * stretch + (shift * rng.random_range(0.2..1.8) + rng.random_range(-far..far)) * y.signum();
            let x = x + rng.random_range(-far..far) + shift * 0.5;
            let (dx, dy) = (x - DISC[0], y - DISC[1]);
            let (x, y) = (DISC[0] + tc * dx - ts * dy, DISC[1] + ts * dx + tc * dy);
            let p = RetinalPoint {
                eccentricity_deg: f64::from(x.hypot(y)),
                meridian_deg: f64::from(y.atan2(x).to_degrees()),
            };
            goals.push(single(p.to_direction()));
        }
        let mut at = match from {
            Some(i) => i,
            None => {
                // Large ones rise steeply before they turn towards where they go.
                let steep = [0.0, up * rng.random_range(0.0..0.9), 0.0];
                let ahead = unit(along(start, add(goals[0], start, -1.0)));
                self.push(start, usize::MAX, unit(along(start, add(ahead, steep, 1.0))))
            }
        };
        // A branch leaves at once towards its own goal, and so at a wide angle.
        let mut heading =
            if from.is_some() { unit(along(self.points[at], goals[0])) } else { self.heading[at] };
        let mut passed = Vec::with_capacity(goals.len());
        // Long bends and short ones, more in some vessels than in others.
        let (mut wave, mut ripple) = (rng.random_range(0.0..6.0f32), rng.random_range(0.0..6.0f32));
        let (bends, ripples) = (rng.random_range(0.06..0.22f32), rng.random_range(0.02..0.26f32));
        for goal in goals {
            for _ in 0..60 {
                let p = self.points[at];
                if dot(p, goal) > (1.6 * STEP).cos() {
                    break;
                }
                wave += rng.random_range(0.1..0.5);
                ripple += rng.random_range(0.5..1.3);
                let wish = unit(along(p, goal));
                let sideways = unit([
                    p[1] * wish[2] - p[2] * wish[1],
                    p[2] * wish[0] - p[0] * wish[2],
                    p[0] * wish[1] - p[1] * wish[0],
                ]);
                let wish =
                    add(add(wish, heading, 1.6), sideways, bends * wave.sin() + ripples * ripple.sin());
                heading = unit(along(p, wish));
                at = self.push(unit(add(p, heading, STEP)), at, heading);
            }
            passed.push(at);
        }
        passed
    }

    /// Grows until every place that is farther than `asks` radians from a vessel is supplied, or nothing grows any more.
    fn colonise(&mut self, rng: &mut Pcg64Mcg, places: &mut Vec<V>, asks: f32) {
        let mut nearest: Vec<(u32, f32)> = places.iter().map(|p| self.nearest(*p, 0)).collect();
        for round in 0..260 {
            let supplied = if round == 0 { asks.cos() } else { (REACHED * asks).cos() };
            let mut keep = nearest.iter().map(|n| n.1 < supplied);
            places.retain(|_| keep.next().unwrap_or(false));
            nearest.retain(|n| n.1 < supplied);
            if places.is_empty() {
                return;
            }
            let mut pull = vec![([0f32; 3], 0u32); self.points.len()];
            for (place, (i, _)) in places.iter().zip(&nearest) {
                let i = *i as usize;
                let d = unit(along(self.points[i], *place));
                pull[i] = (add(pull[i].0, d, 1.0), pull[i].1 + 1);
            }
            let first_new = self.points.len();
            for (i, (sum, n)) in pull.iter().enumerate() {
                if *n > 0 && self.children[i] < 3 {
                    self.sprout(rng, i, *sum);
                }
            }
            if self.points.len() == first_new {
                return;
            }
            for (place, near) in places.iter().zip(&mut nearest) {
                let (j, d) = self.nearest(*place, first_new);
                if d > near.1 {
                    *near = (j, d);
                }
            }
        }
    }

    fn sprout(&mut self, rng: &mut Pcg64Mcg, i: usize, sum: V) {
        let p = self.points[i];
        let away = unit(along(p, self.disc.map(|c| -c)));
        let jitter =
            [rng.random_range(-0.4..0.4), rng.random_range(-0.4..0.4), rng.random_range(-0.4..0.4f32)];
        let wish = if self.children[i] == 0 {
            // A tip carries on as it was heading.
            add(add(unit(sum), self.heading[i], 1.5), away, 1.0)
        } else {
            // A side branch leaves the vessel at a wide angle towards what it is to supply.
            let h = self.heading[i];
            let aside = add(unit(sum), h, -dot(unit(sum), h));
            add(unit(aside), h, rng.random_range(0.4..1.2f32))
        };
        let heading = unit(along(p, add(wish, jitter, 1.0)));
        let q = unit(add(p, heading, STEP));
        // Vessels do not turn back towards the disc.
        if q[2] < AVASCULAR.cos() && !over_raphe(p, q) && dot(heading, away) > -0.3 {
            self.push(q, i, heading);
        } else {
            self.children[i] += 1;
        }
    }

    /// The point nearest to a place among those from `from` on, with the cosine of its distance.
    fn nearest(&self, place: V, from: usize) -> (u32, f32) {
        let mut best = (0u32, f32::MIN);
        for (k, p) in self.points[from..].iter().enumerate() {
            let d = dot(*p, place);
            if d > best.1 && self.children[from + k] < 3 {
                #[allow(clippy::cast_possible_truncation)] // some thousands of points
                {
                    best = ((from + k) as u32, d);
                }
            }
        }
        best
    }
}

/// Whether a step crosses the horizontal on the temporal side of the fovea: vessels from above and from below meet at this raphe and
/// none crosses it.
fn over_raphe(p: V, q: V) -> bool {
    p[0].min(q[0]) < 0.0 && (p[1] < 0.0) != (q[1] < 0.0)
}

/// Places that ask for supply: spread over the retina out to where vessels end, none at the fovea and none farther from it than that
/// cosine says.
fn scatter(rng: &mut Pcg64Mcg, disc: V, radius: f32, many: usize, least: f32) -> Vec<V> {
    let mut out = Vec::with_capacity(many);
    for _ in 0..many * 8 {
        if out.len() == many {
            break;
        }
        let z = rng.random_range(least..1.0f32);
        let (s, c) = rng.random_range(0.0..std::f32::consts::TAU).sin_cos();
        let r = (1.0 - z * z).sqrt();
        let p = [r * c, r * s, z];
        if z < (AVASCULAR * 1.2).cos() && edge(p, disc, radius) {
            out.push(p);
        }
    }
    out
}

/// The flow through each point, in ends, and the child that carries on. After Murray calibre³ adds up: what flows through a point is
/// what flows on through its children and what the step to it sheds.
fn flows(parent: &[u32]) -> (Vec<f32>, Vec<u32>) {
    #[allow(clippy::cast_possible_truncation)] // some thousands of points
    let mut next: Vec<u32> = (0..parent.len() as u32).collect();
    let mut flow = vec![0f32; parent.len()];
    let mut best = vec![0f32; parent.len()];
    // Children come after their parents.
    for i in (0..parent.len()).rev() {
        flow[i] = if flow[i] == 0.0 { 1.0 } else { flow[i] + SHED };
        let p = parent[i] as usize;
        if p != i {
            flow[p] += flow[i];
            if flow[i] > best[p] {
                best[p] = flow[i];
                #[allow(clippy::cast_possible_truncation)] // some thousands of points
                {
                    next[p] = i as u32;
                }
            }
        }
    }
    (flow, next)
}

/// The tree without ends of fewer than [`THORN`] steps.
fn without_thorns(points: &[V], parent: &[u32]) -> (Vec<V>, Vec<u32>) {
    let mut children = vec![0u32; parent.len()];
    for (i, p) in parent.iter().enumerate() {
        children[*p as usize] += u32::from(*p as usize != i);
    }
    let mut keep = vec![true; parent.len()];
    for end in (0..parent.len()).filter(|i| children[*i] == 0) {
        let mut twig = vec![end];
        let mut at = end;
        while parent[at] as usize != at && children[parent[at] as usize] == 1 && twig.len() < THORN {
            at = parent[at] as usize;
            twig.push(at);
        }
        if twig.len() < THORN && parent[at] as usize != at {
            twig.iter().for_each(|i| keep[*i] = false);
        }
    }
    let mut place = vec![0u32; parent.len()];
    let mut out = (Vec::new(), Vec::new());
    for i in (0..parent.len()).filter(|i| keep[*i]) {
        #[allow(clippy::cast_possible_truncation)] // some thousands of points
        {
            place[i] = out.0.len() as u32;
        }
        out.0.push(points[i]);
        out.1.push(place[parent[i] as usize]);
    }
    out
}

/// Lets every point go some way to where what hangs on it pulls it, each vessel with its cross-section: the way to the least
/// volume, on which a vessel bends away from where a branch leaves it, the more the wider the branch (Murray, J Gen Physiol 1926;9:835, from memory).
/// It takes the corners out of the grown lines, too.
fn settle(points: &mut [V], parent: &[u32], half: &[f32]) {
    for _ in 0..6 {
        let mut pull = vec![([0f32; 3], 0f32, 0u32); points.len()];
        for (i, p) in parent.iter().enumerate().filter(|(i, p)| **p as usize != *i) {
            let (p, w) = (*p as usize, half[i] * half[i]);
            pull[i] = (add(pull[i].0, points[p], w), pull[i].1 + w, pull[i].2 + 1);
            pull[p] = (add(pull[p].0, points[i], w), pull[p].1 + w, pull[p].2 + 1);
        }
        for (i, p) in points.iter_mut().enumerate() {
            // Starts at the disc and ends stay.
            if pull[i].2 > 1 && parent[i] as usize != i {
                *p = unit(add(*p, pull[i].0, 1.0 / pull[i].1));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn tree() -> Tree {
        let disc = RetinalPoint { eccentricity_deg: 22.0, meridian_deg: 5.6 }.to_direction();
        grow(&mut Pcg64Mcg::seed_from_u64(3), disc, 12.0, Kind::Vein)
    }

    #[test]
    fn vessels_hang_together_stay_on_the_sphere_and_spare_the_fovea() {
        let t = tree();
        assert!(t.points.len() > 1200, "{}", t.points.len());
        for (i, p) in t.points.iter().enumerate() {
            assert!((dot(*p, *p) - 1.0).abs() < 1e-4);
            assert!(t.parent[i] as usize <= i);
            assert!(p[2] < (0.8 * AVASCULAR).cos());
        }
    }

    #[test]
    fn murray_s_law_holds_where_a_vessel_divides() {
        let t = tree();
        let end = t.half.iter().copied().fold(f32::MAX, f32::min).powi(3);
        let mut cubes = vec![0f32; t.points.len()];
        for (i, p) in t.parent.iter().enumerate() {
            if *p as usize != i {
                cubes[*p as usize] += t.half[i].powi(3);
            }
        }
        // What goes in goes on into the children and into the twigs of one step.
        for (i, c) in cubes.iter().enumerate().filter(|c| *c.1 > 0.0) {
            let shed = (t.half[i].powi(3) - c) / end;
            assert!((shed - SHED).abs() < 0.02 * (1.0 + c / end), "{shed} {}", c / end);
        }
        // Ends are arterioles and venules of some ten µm and more.
        let um = 2.0 * 12e3 * t.half.iter().copied().fold(f32::MAX, f32::min);
        assert!((12.0..45.0).contains(&um), "{um}");
    }

    #[test]
    fn the_horizontal_temporal_to_the_fovea_is_free() {
        let t = tree();
        for (i, p) in t.parent.iter().enumerate() {
            let (p, q) = (t.points[*p as usize], t.points[i]);
            // Smoothing moves a point by less than a step.
            assert!(!over_raphe(p, q) || p[1].abs().min(q[1].abs()) < STEP, "{p:?} {q:?}");
        }
        let wide = t.half.iter().copied().fold(0.0, f32::max);
        let on_it = |p: &V| p[0] < -0.1 && p[1].abs() < 0.07;
        let thick = t.points.iter().zip(&t.half).filter(|(p, h)| on_it(p) && **h > 0.5 * wide).count();
        assert_eq!(thick, 0);
    }

    #[test]
    fn vessels_reach_the_far_periphery_in_every_quadrant() {
        let t = tree();
        for k in 0..12 {
            let (s, c) = (k as f32 * std::f32::consts::TAU / 12.0).sin_cos();
            let far = t
                .points
                .iter()
                .filter(|p| p[0] * c + p[1] * s > 0.8 * p[0].hypot(p[1]))
                .map(|p| p[2])
                .fold(1.0, f32::min);
            assert!(far < 75f32.to_radians().cos(), "{k}: {}", far.acos().to_degrees());
        }
    }
}
