//! Vessels as lines: centre lines with their width and kind, and where they branch, cross and end.

use crate::{anatomy, filter, mask::Mask, scene::Scene, vessel_kind, visible};
use serrata_frame::{Frame, Plane};
use serrata_words::{Modality, Point, VesselLine, VesselNode, VesselNodeKind};

/// The vessels of a frame as lines.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VesselLines {
    /// Centre lines from node to node.
    pub lines: Vec<VesselLine>,
    /// Where lines meet or end.
    pub nodes: Vec<VesselNode>,
}

/// How many times stronger than the ground's grain a pixel has to be to begin a vessel, and down to which it goes on. Of pairs from
/// 1.5 and 2.5 to 2.0 and 3.5 this one finds most of the annotated crossings of ultra-widefield pictures; lower ones follow
/// more of the vessel masks of narrow fields, and more of what is none.
const BEGINS: f32 = 2.8;
const GOES_ON: f32 = 1.6;
/// Shortest line that ends freely, in widths of the longer side: what is shorter is a spur of the thinning.
const SPUR: f32 = 0.009;
/// Nodes closer than this share of the longer side are one: two vessels that cross meet along a short common piece.
const ONE_NODE: f32 = 0.008;

/// Finds the vessels of a frame as lines, bright ones in dye pictures, dark ones elsewhere. Lengths are full-frame pixels.
///
/// The map of [`crate::vessel_map`] is cut at two levels (Canny's hysteresis, IEEE Trans. PAMI 1986;8:679, from memory), thinned to lines one
/// pixel wide (Zhang and Suen, Commun. ACM 1984;27:236, from memory), freed of spurs and traced.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// let grey = Frame::bare(Pixels::new(64, 48, 1, Samples::U8(vec![118; 64 * 48].into()))?);
/// assert!(serrata_appraise::vessel_lines(&grey, serrata_words::Modality::Green).lines.is_empty());
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn vessel_lines(frame: &Frame, modality: Modality) -> VesselLines {
    let scene = Scene::new(frame, modality);
    let retina = visible::visible(&scene).retina;
    let mut strength = anatomy::map(&scene, &retina);
    let mut some: Vec<f32> =
        strength.data.iter().zip(&retina.data).filter(|(_, r)| **r).map(|(v, _)| *v).collect();
    if filter::percentile(&mut some, 0.99) <= 1e-4 {
        return VesselLines::default();
    }
    // Three quarters of a retina are no vessel, so this is how strong the ground's own grain is.
    let grain = filter::percentile(&mut some, 0.75);
    // The outline of the retina is no vessel.
    let core = anatomy::core(&retina, (scene.long() * 0.01).max(3.0));
    for (v, inside) in strength.data.iter_mut().zip(&core.data) {
        *v = if *inside { *v } else { 0.0 };
    }
    let body = body(&strength, grain);
    let mut thin = thinned(&body);
    let spur = ((SPUR * scene.long()).round() as usize).max(3);
    for _ in 0..2 {
        let net = Net::trace(&thin, (ONE_NODE * scene.long()).max(2.0));
        if !net.without_spurs(&mut thin, spur) {
            break;
        }
        thin = thinned(&thin);
    }
    let mut found = Net::trace(&thin, (ONE_NODE * scene.long()).max(2.0)).told(
        &filter::gauss(&scene.detail, 0.7),
        modality.is_dye(),
        scene.factor,
        2 * spur,
    );
    vessel_kind::tell(&scene, &retina, &mut found);
    found
}

/// Pixels of vessels: strong ones, and weaker ones that hang together with them.
fn body(strength: &Plane, grain: f32) -> Mask {
    let (w, h) = (strength.width, strength.height);
    let weak = Mask::from_fn(w, h, |x, y| strength.at(x, y) >= GOES_ON * grain);
    weak.connected_to(|x, y| strength.at(x, y) >= BEGINS * grain).without_specks(12)
}

/// Farthest from a centre line that a vessel's edge is sought, working pixels.
const REACH: f32 = 6.0;

/// Width of a vessel across its line at a pixel, between the places where its sides are steepest, working pixels; none where one side has no edge.
/// `bright`: the vessel is brighter than its ground.
fn width_across(light: &Plane, line: &[usize], i: usize, bright: bool) -> Option<f32> {
    let w = light.width;
    let place = |k: usize| ((line[k] % w) as f32, (line[k] / w) as f32);
    let ((ax, ay), (bx, by)) = (place(i.saturating_sub(3)), place((i + 3).min(line.len() - 1)));
    let long = (bx - ax).hypot(by - ay);
    if long < 1.0 {
        return None;
    }
    let (nx, ny) = (-(by - ay) / long, (bx - ax) / long);
    let (x, y) = place(i);
    let depth = |t: f32| {
        let v = between(light, x + t * nx, y + t * ny)?;
        Some(if bright { -v } else { v })
    };
    // Uphill on each side until the light falls again; the edge is where it rises most.
    let edge = |side: f32| {
        let (mut steepest, mut at, mut t) = (0.0, None, 0.25);
        while t < REACH {
            let rise = depth(side * (t + 0.5))? - depth(side * (t - 0.5))?;
            if rise > steepest {
                (steepest, at) = (rise, Some(t));
            } else if rise < 0.0 && t > 0.5 {
                break;
            }
            t += 0.25;
        }
        at
    };
    Some(edge(1.0)? + edge(-1.0)?)
}

/// Light between pixels, by the four around; none outside.
fn between(p: &Plane, x: f32, y: f32) -> Option<f32> {
    if !(x >= 0.0 && y >= 0.0 && x < (p.width - 1) as f32 && y < (p.height - 1) as f32) {
        return None;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside, as just seen
    let (i, j) = (x as usize, y as usize);
    let (u, v) = (x - i as f32, y - j as f32);
    let top = p.at(i, j) + (p.at(i + 1, j) - p.at(i, j)) * u;
    let low = p.at(i, j + 1) + (p.at(i + 1, j + 1) - p.at(i, j + 1)) * u;
    Some(top + (low - top) * v)
}

/// The longer side of the box about some pixels.
fn extent(part: &[usize], w: usize) -> f32 {
    let side = |of: &dyn Fn(usize) -> usize| {
        let (low, high) = part.iter().fold((usize::MAX, 0), |(a, b), i| (a.min(of(*i)), b.max(of(*i))));
        (high.saturating_sub(low) + 1) as f32
    };
    side(&|i| i % w).max(side(&|i| i / w))
}

/// Steps to the eight neighbours, clockwise from above.
const AROUND: [(i64, i64); 8] = [(0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1)];

/// The eight neighbours of a pixel, clockwise from above; outside is none.
fn neighbours(m: &Mask, x: usize, y: usize) -> [bool; 8] {
    AROUND.map(|(dx, dy)| {
        #[allow(clippy::cast_possible_wrap, clippy::cast_sign_loss, clippy::cast_possible_truncation)]
        // beyond the border wraps to a huge number
        let (px, py) = ((x as i64 + dx) as usize, (y as i64 + dy) as usize);
        px < m.width && py < m.height && m.at(px, py)
    })
}

/// The mask thinned to lines one pixel wide.
fn thinned(body: &Mask) -> Mask {
    let mut m = body.clone();
    let mut alive: Vec<usize> = (0..m.data.len()).filter(|i| m.data[*i]).collect();
    loop {
        let mut changed = false;
        for second in [false, true] {
            let gone: Vec<usize> = alive
                .iter()
                .copied()
                .filter(|i| {
                    let p = neighbours(&m, i % m.width, i / m.width);
                    let count = p.iter().filter(|b| **b).count();
                    let turns = (0..8).filter(|k| !p[*k] && p[(k + 1) % 8]).count();
                    let [a, b] = if second {
                        [p[0] && p[2] && p[6], p[0] && p[4] && p[6]]
                    } else {
                        [p[0] && p[2] && p[4], p[2] && p[4] && p[6]]
                    };
                    (2..=6).contains(&count) && turns == 1 && !a && !b
                })
                .collect();
            changed |= !gone.is_empty();
            for i in &gone {
                m.data[*i] = false;
            }
            alive.retain(|i| m.data[*i]);
        }
        if !changed {
            return m;
        }
    }
}

/// Lines between nodes, as pixels of the thinned mask.
struct Net {
    width: usize,
    /// Pixels that meet in each node.
    nodes: Vec<Vec<usize>>,
    /// Pixels of each line with the nodes at its ends; a ring has none.
    lines: Vec<(Vec<usize>, [Option<usize>; 2])>,
}

impl Net {
    /// Traces the lines of a thinned mask; meeting places closer than `one` are a single node.
    fn trace(thin: &Mask, one: f32) -> Self {
        let w = thin.width;
        let on: Vec<usize> = (0..thin.data.len()).filter(|i| thin.data[*i]).collect();
        let arms = |i: usize| {
            let p = neighbours(thin, i % w, i / w);
            (0..8).filter(|k| !p[*k] && p[(k + 1) % 8]).count()
        };
        let meets = Mask {
            width: w,
            height: thin.height,
            data: (0..thin.data.len()).map(|i| thin.data[i] && arms(i) != 2).collect(),
        };
        // Neighbouring pixels that meet are one place; then places closer than `one` along the mask are.
        let reach = (one / 2.0).round().max(1.0) as usize;
        let mut parts = Vec::new();
        for part in meets.dilated(reach).parts() {
            if extent(&part, w) <= 3.0 * one {
                parts.push(part);
                continue;
            }
            // A mesh of meeting places, each close to the next, is not one place.
            let own: std::collections::HashSet<usize> = part.into_iter().filter(|i| meets.data[*i]).collect();
            let single = Mask {
                width: w,
                height: thin.height,
                data: (0..meets.data.len()).map(|i| own.contains(&i)).collect(),
            };
            parts.extend(single.dilated(1).parts());
        }
        let mut node_of = vec![usize::MAX; thin.data.len()];
        let mut nodes = Vec::new();
        for part in parts {
            let own: Vec<usize> = part.into_iter().filter(|i| thin.data[*i]).collect();
            if own.iter().any(|i| meets.data[*i]) {
                for i in &own {
                    node_of[*i] = nodes.len();
                }
                nodes.push(own);
            }
        }
        let mut free: Vec<bool> =
            (0..thin.data.len()).map(|i| thin.data[i] && node_of[i] == usize::MAX).collect();
        let near = |i: usize| {
            // Side by side before corner to corner, so that a staircase is one line.
            [0, 2, 4, 6, 1, 3, 5, 7].iter().map(|k| AROUND[*k]).filter_map(move |(dx, dy)| {
                #[allow(clippy::cast_possible_wrap, clippy::cast_sign_loss, clippy::cast_possible_truncation)]
                let (x, y) = (((i % w) as i64 + dx) as usize, ((i / w) as i64 + dy) as usize);
                (x < w && y < thin.height && thin.data[y * w + x]).then_some(y * w + x)
            })
        };
        let node = |i: usize, not: Option<usize>| {
            near(i).map(|j| node_of[j]).find(|n| *n != usize::MAX && Some(*n) != not)
        };
        let mut lines = Vec::new();
        // From the pixels beside nodes first; what is left then are rings.
        let begins = on.iter().copied().filter(|i| node(*i, None).is_some()).chain(on.iter().copied());
        for begin in begins {
            if !free[begin] {
                continue;
            }
            free[begin] = false;
            let first = node(begin, None);
            let mut line = vec![begin];
            let mut at = begin;
            while let Some(next) = near(at).find(|j| free[*j]) {
                free[next] = false;
                line.push(next);
                at = next;
            }
            let last = if line.len() == 1 { node(begin, first) } else { node(at, None) };
            lines.push((line, [first, last]));
        }
        Self { width: w, nodes, lines }
    }

    /// How many lines meet in each node.
    fn degrees(&self) -> Vec<usize> {
        let mut degree = vec![0; self.nodes.len()];
        for n in self.lines.iter().flat_map(|(_, ends)| ends.iter().flatten()) {
            degree[*n] += 1;
        }
        degree
    }

    /// Takes out lines that end freely and are shorter than a spur; says whether there were any.
    fn without_spurs(&self, thin: &mut Mask, spur: usize) -> bool {
        let degree = self.degrees();
        let mut any = false;
        for (line, ends) in &self.lines {
            let [a, b] = ends.map(|e| e.map_or(0, |n| degree[n]));
            // One end is free, the other meets others.
            if line.len() < spur && (a.min(b) <= 1) && a.max(b) > 1 {
                for i in line {
                    thin.data[*i] = false;
                }
                for n in ends.iter().flatten().filter(|n| degree[**n] <= 1) {
                    for i in &self.nodes[*n] {
                        thin.data[*i] = false;
                    }
                }
                any = true;
            }
        }
        any
    }

    /// The lines and nodes in frame pixels; lines of `least` pixels and less that meet nothing are left out.
    fn told(&self, light: &Plane, bright: bool, factor: f64, least: usize) -> VesselLines {
        let place = |i: usize| -> Point {
            [((i % self.width) as f64 + 0.5) * factor, ((i / self.width) as f64 + 0.5) * factor]
        };
        let middle = |own: &[usize]| -> Point {
            let n = own.len().max(1) as f64;
            let sum = own.iter().map(|i| place(*i)).fold([0.0, 0.0], |s, p| [s[0] + p[0], s[1] + p[1]]);
            [sum[0] / n, sum[1] / n]
        };
        let degree = self.degrees();
        let alone = |ends: &[Option<usize>; 2]| ends.iter().flatten().all(|n| degree[*n] <= 1);
        let kept: Vec<_> =
            self.lines.iter().filter(|(line, ends)| line.len() > least || !alone(ends)).collect();
        let mut meeting: Vec<Vec<usize>> = vec![Vec::new(); self.nodes.len()];
        let mut lines = Vec::with_capacity(kept.len());
        for (number, (line, ends)) in kept.into_iter().enumerate() {
            for n in ends.iter().flatten() {
                meeting[*n].push(number);
            }
            let inner: Vec<Point> = line.iter().map(|i| place(*i)).collect();
            let mut points: Vec<Point> = ends[0].map(|n| middle(&self.nodes[n])).into_iter().collect();
            points.extend(calm(&inner));
            points.extend(ends[1].map(|n| middle(&self.nodes[n])));
            let mut all: Vec<f32> =
                (0..line.len()).filter_map(|i| width_across(light, line, i, bright)).collect();
            let width_px = (!all.is_empty()).then(|| f64::from(filter::percentile(&mut all, 0.5)) * factor);
            lines.push(VesselLine { points, width_px, kind: None });
        }
        let nodes = meeting
            .into_iter()
            .enumerate()
            .filter(|(_, lines)| !lines.is_empty() && lines.len() != 2)
            .map(|(n, lines)| {
                let kind = match lines.len() {
                    1 => VesselNodeKind::End,
                    3 => VesselNodeKind::Branching,
                    _ => VesselNodeKind::Crossing,
                };
                let [x, y] = middle(&self.nodes[n]);
                VesselNode { x, y, kind, lines }
            })
            .collect();
        VesselLines { lines, nodes }
    }
}

/// Every third point of a line of pixels as the mean of five, its ends as they are: a pixel's staircase is no bend.
fn calm(line: &[Point]) -> Vec<Point> {
    let mean = |i: usize| {
        let near = &line[i.saturating_sub(2)..(i + 3).min(line.len())];
        let n = near.len() as f64;
        let sum = near.iter().fold([0.0, 0.0], |s, p| [s[0] + p[0], s[1] + p[1]]);
        [sum[0] / n, sum[1] / n]
    };
    (0..line.len()).filter(|i| i % 3 == 0 || i + 1 == line.len()).map(mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(lines: &[[(f32, f32); 2]], half: f32) -> Mask {
        Mask::from_fn(200, 160, |x, y| {
            let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
            lines.iter().any(|[(ax, ay), (bx, by)]| {
                let (ux, uy) = (bx - ax, by - ay);
                let t = (((px - ax) * ux + (py - ay) * uy) / (ux * ux + uy * uy)).clamp(0.0, 1.0);
                (px - ax - t * ux).hypot(py - ay - t * uy) <= half
            })
        })
    }

    fn net(body: &Mask) -> VesselLines {
        let dark = Plane::from_fn(body.width, body.height, |x, y| if body.at(x, y) { 0.2 } else { 0.6 });
        let mut thin = thinned(body);
        if Net::trace(&thin, 3.0).without_spurs(&mut thin, 6) {
            thin = thinned(&thin);
        }
        Net::trace(&thin, 5.0).told(&dark, false, 2.0, 10)
    }

    fn kinds(v: &VesselLines) -> [usize; 3] {
        [VesselNodeKind::End, VesselNodeKind::Branching, VesselNodeKind::Crossing]
            .map(|k| v.nodes.iter().filter(|n| n.kind == k).count())
    }

    #[test]
    fn one_line_has_two_ends_and_its_width() {
        let v = net(&drawn(&[[(20.0, 80.0), (180.0, 60.0)]], 3.0));
        assert_eq!((v.lines.len(), kinds(&v)), (1, [2, 0, 0]));
        let width = v.lines[0].width_px.unwrap();
        assert!((width - 12.0).abs() < 2.5, "{width}");
        let long: f64 =
            v.lines[0].points.windows(2).map(|p| (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1])).sum();
        assert!((long - 2.0 * 161.0).abs() < 20.0, "{long}");
    }

    #[test]
    fn a_fork_is_a_branching_and_a_cross_is_a_crossing() {
        let fork = net(&drawn(
            &[[(20.0, 80.0), (100.0, 80.0)], [(100.0, 80.0), (180.0, 30.0)], [(100.0, 80.0), (180.0, 130.0)]],
            2.5,
        ));
        assert_eq!((fork.lines.len(), kinds(&fork)), (3, [3, 1, 0]));
        let at = fork.nodes.iter().find(|n| n.kind == VesselNodeKind::Branching).unwrap();
        assert!((at.x - 200.0).hypot(at.y - 160.0) < 12.0, "{} {}", at.x, at.y);
        assert_eq!(at.lines.len(), 3);
        let cross = net(&drawn(&[[(20.0, 30.0), (180.0, 130.0)], [(20.0, 130.0), (180.0, 30.0)]], 2.5));
        assert_eq!((cross.lines.len(), kinds(&cross)), (4, [4, 0, 1]));
    }

    #[test]
    fn a_ring_has_no_end_and_nothing_panics_at_the_border() {
        let ring = Mask::from_fn(60, 60, |x, y| {
            let far = (x as f32 - 30.0).hypot(y as f32 - 30.0);
            (15.0..18.0).contains(&far)
        });
        let v = net(&ring);
        assert_eq!((v.lines.len(), kinds(&v)), (1, [0, 0, 0]));
        for all in [true, false] {
            net(&Mask::new(9, 7, all));
        }
        net(&Mask::new(1, 1, true));
    }
}
