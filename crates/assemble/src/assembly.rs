//! Many frames: which belong together, and where each lies.

use crate::fit::{self, Tie};
use crate::pair::{Evidence, Match, Vessels, choose, pair};
use crate::sway::with_sway;
use crate::{Hooks, Pose};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use serrata_words::{Method, Placement};
use std::borrow::Borrow;

/// The method of [`assemble`] with its revision.
pub const METHOD: Method = Method::new("assemble", 2);

/// What became of one frame.
#[derive(Debug, Clone)]
pub struct Placed {
    /// Placed, doubtful or not placed.
    pub status: Placement,
    /// Why it is not placed.
    pub reason: Option<&'static str>,
    /// Where it lies; none where not placed.
    pub pose: Option<Pose>,
    /// Evidence of the match with its best partner.
    pub evidence: Option<Evidence>,
    /// Median distance of matched places from where the pose says, pixels, with its 95 % interval.
    pub residual_px: Option<(f64, [f64; 2])>,
}

/// Frames of one eye on one sphere.
#[derive(Debug, Clone)]
pub struct Assembly {
    /// What became of each frame, in the order they were given.
    pub frames: Vec<Placed>,
    /// The frame whose view frame is the sphere's.
    pub reference: Option<usize>,
}

/// Two frames that were matched, by their places.
struct Link {
    a: usize,
    b: usize,
    /// Pixel in a, tie in b.
    ties: Vec<([f64; 2], Tie)>,
}

/// With how many placed frames one is tried before it is given up.
const TRIES: usize = 4;
/// With how many placed frames a frame is linked once it is placed.
const LINKS: usize = 3;

/// Puts frames of one eye on one sphere.
///
/// The frame with most vessels is the sphere's reference unless nothing fits it. Each other frame is matched with
/// those already placed, then all poses are adjusted together. Where frames of several eyes are mixed, the largest
/// group is kept and the others are not placed. Deterministic for any number of threads.
#[must_use]
pub fn assemble<V: Borrow<Vessels>>(frames: &[V], hooks: &Hooks<'_>) -> Assembly {
    let frames: Vec<&Vessels> = frames.iter().map(Borrow::borrow).collect();
    let frames = frames.as_slice();
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|i, j| frames[*j].amount().total_cmp(&frames[*i].amount()).then(i.cmp(j)));
    let mut best: Option<Group> = None;
    let mut open = order.clone();
    // A stray frame as the first reference must not spoil the rest: another is tried where little fits.
    for _ in 0..3 {
        let Some(&reference) = open.first() else { break };
        if hooks.cancelled() {
            break;
        }
        let group = Group::grow(frames, reference, &order, hooks);
        open.retain(|i| group.poses[*i].is_none());
        let done = group.size() * 2 > frames.len();
        if best.as_ref().is_none_or(|b| group.size() > b.size()) {
            best = Some(group);
        }
        if done {
            break;
        }
    }
    let Some(mut group) = best else {
        return Assembly { frames: Vec::new(), reference: None };
    };
    group.adjust(frames);
    group.finish(frames)
}

/// Frames that fit together.
struct Group {
    reference: usize,
    poses: Vec<Option<Pose>>,
    evidence: Vec<Option<Evidence>>,
    doubtful: Vec<Option<(Pose, Evidence)>>,
    links: Vec<Link>,
}

impl Group {
    fn size(&self) -> usize {
        self.poses.iter().flatten().count()
    }

    fn grow(frames: &[&Vessels], reference: usize, order: &[usize], hooks: &Hooks<'_>) -> Self {
        let n = frames.len();
        let mut it = Self {
            reference,
            poses: vec![None; n],
            evidence: vec![None; n],
            doubtful: vec![None; n],
            links: Vec::new(),
        };
        it.poses[reference] = Some(Pose::reference(frames[reference].lens()));
        let mut placed = vec![reference];
        let mut tried = vec![Vec::new(); n];
        // Again as long as something new was placed: a frame may fit only one that came later.
        loop {
            let before = placed.len();
            for &i in order {
                if it.poses[i].is_some() || hooks.cancelled() {
                    continue;
                }
                it.try_place(frames, i, &mut placed, &mut tried[i]);
                hooks.progress(placed.len(), n);
            }
            if placed.len() == before {
                return it;
            }
        }
    }

    /// Tries a frame against placed ones it was not tried with.
    fn try_place(&mut self, frames: &[&Vessels], i: usize, placed: &mut Vec<usize>, tried: &mut Vec<usize>) {
        let mut partners: Vec<usize> = placed.iter().copied().filter(|p| !tried.contains(p)).collect();
        partners.sort_by_key(|p| (frames[*p].kind() != frames[i].kind(), *p));
        for p in partners {
            if tried.len() >= TRIES {
                return;
            }
            tried.push(p);
            let Some(pose_p) = self.poses[p].clone() else { continue };
            let Some(m) = pair(frames[p], &pose_p, frames[i]) else { continue };
            match m.evidence.placement() {
                Placement::Placed => {
                    self.place(frames, p, i, m, placed);
                    return;
                }
                Placement::Doubtful => {
                    if self.doubtful[i].as_ref().is_none_or(|d| m.evidence.agreeing > d.1.agreeing) {
                        self.doubtful[i] = Some((m.pose, m.evidence));
                    }
                }
                Placement::NotPlaced => {
                    if self.evidence[i].is_none_or(|e| m.evidence.agreeing > e.agreeing) {
                        self.evidence[i] = Some(m.evidence);
                    }
                }
            }
        }
    }

    fn place(&mut self, frames: &[&Vessels], p: usize, i: usize, m: Match, placed: &mut Vec<usize>) {
        self.evidence[i] = Some(m.evidence);
        self.links.push(Link { a: p, b: i, ties: m.ties });
        let pose = m.pose;
        // More links from where the frame now lies: they close the rings that the joint adjustment needs.
        let mut more = 1;
        for &q in placed.iter().filter(|q| **q != p) {
            if more >= LINKS {
                break;
            }
            let Some(pose_q) = &self.poses[q] else { continue };
            let Some(m) = crate::pair::near(frames[q], pose_q, frames[i], &pose) else { continue };
            if m.evidence.placement() == Placement::Placed {
                more += 1;
                self.links.push(Link { a: q, b: i, ties: m.ties });
            }
        }
        self.poses[i] = Some(pose);
        placed.push(i);
    }

    /// All ties of a frame with the others as they lie now.
    fn ties(&self, i: usize) -> Vec<Tie> {
        let mut out = Vec::new();
        for link in &self.links {
            if link.b == i {
                let Some(other) = &self.poses[link.a] else { continue };
                out.extend(link.ties.iter().map(|(p, t)| Tie { on: other.to_sphere(*p), ..*t }));
            } else if link.a == i {
                let Some(other) = &self.poses[link.b] else { continue };
                out.extend(link.ties.iter().map(|(p, t)| Tie { on: other.to_sphere(t.at), at: *p, ..*t }));
            }
        }
        out
    }

    /// Adjusts all poses together: frame after frame against all it is linked with, until nothing moves any more. The
    /// reference stays where it is and only sways.
    fn adjust(&mut self, frames: &[&Vessels]) {
        for _ in 0..8 {
            let mut moved = 0.0f64;
            for (i, frame) in frames.iter().enumerate() {
                let Some(pose) = self.poses[i].clone() else { continue };
                let ties = self.ties(i);
                if ties.len() < 8 {
                    continue;
                }
                let least = frame.step() * 0.15;
                let bare = Pose { local: None, sway: None, degrees_of_freedom: [0.0; 2], ..pose.clone() };
                let next = if i == self.reference {
                    with_sway(&bare, &ties, None, least)
                } else {
                    let next = settle(&bare, &ties, least);
                    let weights = fit::tukeys(&next, &ties, least);
                    fit::local(&next, &ties, &weights, crate::pair::CELLS)
                };
                moved = moved.max(apart(&pose, &next) / frame.step());
                self.poses[i] = Some(next);
            }
            if moved < STILL {
                break;
            }
        }
    }

    fn finish(self, frames: &[&Vessels]) -> Assembly {
        let alone = self.size() == 1;
        let all = (0..frames.len()).map(|i| {
            let evidence = self.evidence[i];
            if let Some(pose) = &self.poses[i] {
                if alone && frames.len() > 1 {
                    let reason = Some("no other frame fits this one");
                    return Placed { status: Placement::NotPlaced, reason, pose: None, evidence, residual_px: None };
                }
                let ties = self.ties(i);
                let inlying = fit::tukeys(pose, &ties, frames[i].step() * 0.15);
                let lengths = fit::residuals(pose, &ties).into_iter().zip(inlying).filter(|(_, w)| *w > 0.0);
                let residual_px = spread(&lengths.map(|l| l.0).collect::<Vec<f64>>());
                return Placed { status: Placement::Placed, reason: None, pose: Some(pose.clone()), evidence, residual_px };
            }
            if let Some((pose, e)) = &self.doubtful[i] {
                let reason = Some("too few vessels agree to be sure");
                let pose = Some(pose.clone());
                return Placed { status: Placement::Doubtful, reason, pose, evidence: Some(*e), residual_px: None };
            }
            let reason = Some(if frames[i].amount() < 200.0 {
                "too few vessels can be seen in it"
            } else {
                "its vessels fit none of the placed frames: another eye, a mirrored or turned picture, or no overlap"
            });
            Placed { status: Placement::NotPlaced, reason, pose: None, evidence, residual_px: None }
        });
        let reference = (!alone || frames.len() == 1).then_some(self.reference);
        Assembly { frames: all.collect(), reference }
    }
}

/// Poses that move less from round to round stay, field pixels.
const STILL: f64 = 0.05;

/// How far two poses of a frame lie apart at most, at nine places of the frame, pixels.
fn apart(p: &Pose, q: &Pose) -> f64 {
    let s = &p.lens.projection;
    let (w, h) = (f64::from(s.width), f64::from(s.height));
    let places = (0..9).map(|k| [f64::from(k % 3 + 1) * 0.25 * w, f64::from(k / 3 + 1) * 0.25 * h]);
    let off = places.map(|at| {
        let there = q.to_frame(p.to_sphere(at));
        (there[0] - at[0]).hypot(there[1] - at[1])
    });
    off.fold(0.0, f64::max)
}

/// Turned, bent and swaying as Bayes' criterion calls for. A jump of the eye looks like a little shear or scale as long as
/// it is not asked for, so each order is tried with a sway of its own.
fn settle(bare: &Pose, ties: &[Tie], least: f64) -> Pose {
    let cost = |p: &Pose| {
        fit::criterion_of(p, ties, least, p.degrees_of_freedom.iter().sum(), crate::sway::INDEPENDENT)
    };
    let plain = choose(bare, bare.lens.known, ties, 3, least);
    let chosen = (0..=3).find(|o| fit::numbers(*o) >= plain.degrees_of_freedom[0]).unwrap_or(0);
    let lowest = usize::from(!bare.lens.known).min(chosen);
    let all = [lowest, chosen].map(|order| {
        let start = if order == chosen { plain.clone() } else { fit::robust(bare, ties, order, least).0 };
        with_sway(&start, ties, Some(fit::ORDERS[order]), least)
    });
    let [low, high] = all;
    if cost(&low) < cost(&high) { low } else { high }
}

/// Median of the inlying lengths with its 95 % interval by 200 bootstrap draws.
fn spread(lengths: &[f64]) -> Option<(f64, [f64; 2])> {
    let median = |v: &mut Vec<f64>| {
        let k = v.len() / 2;
        *v.select_nth_unstable_by(k, f64::total_cmp).1
    };
    if lengths.is_empty() {
        return None;
    }
    let middle = median(&mut lengths.to_vec());
    let mut rng = Pcg64Mcg::seed_from_u64(0x0a55_e3b1);
    let mut draws: Vec<f64> = (0..200)
        .map(|_| median(&mut lengths.iter().map(|_| lengths[rng.random_range(0..lengths.len())]).collect()))
        .collect();
    draws.sort_by(f64::total_cmp);
    Some((middle, [draws[5], draws[194]]))
}
