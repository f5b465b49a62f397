use crate::Shot;
use crate::align::align;
use crate::curves::{Class, Curves, Disc};
use crate::phase::{Marks, at};
use crate::stack::stack;
use crate::times::{Least, Timed, Times, times};
use serrata_frame::Plane;
use serrata_words::{DyeCurve, DyeFrame, DyeLine, DyeSpan, Method, Modality};

/// The method of [`analyse`] with its revision.
pub const METHOD: Method = Method::new("dye", 1);

/// A run that was read.
#[derive(Debug, Clone)]
pub struct Run {
    /// Frames, times, curves, as words. Paths and regions are the caller's to add.
    pub line: DyeLine,
    /// Which shot all others are drawn in.
    pub reference: usize,
    /// The shots that count, in the order of time, drawn in the reference's pixels; NaN beyond their edge.
    pub planes: Vec<(usize, Plane)>,
    /// Half-widths in seconds that the 95 % intervals of arrival, arterio-venous passage and mean circulation would have for
    /// one who knows all else about this eye: what the intervals told are measured by.
    pub least_half_widths: Option<[f64; 3]>,
}

impl Run {
    /// Adds the curve of a region: the mean brightness of those pixels of the reference's small picture that every frame sees.
    /// Whether there are any.
    #[allow(clippy::cast_precision_loss)] // counts
    pub fn add_curve(&mut self, what: &str, region: &[bool]) -> bool {
        let seen = |i: &usize| self.planes.iter().all(|p| p.1.data.get(*i).is_some_and(|v| v.is_finite()));
        let pixels: Vec<usize> = (0..region.len()).filter(|i| region[*i]).filter(seen).collect();
        let mean =
            |p: &Plane| pixels.iter().map(|i| f64::from(p.data[*i])).sum::<f64>() / pixels.len() as f64;
        let points = self.planes.iter().filter_map(|(i, p)| Some([self.line.frames[*i].seconds?, mean(p)]));
        if pixels.is_empty() {
            return false;
        }
        self.line.curves.push(DyeCurve { what: what.to_owned(), points: points.collect() });
        true
    }
}

/// Least frames of a passage that times are told from.
const FEW: usize = 10;

/// Reads a run of one dye.
///
/// `disc`: finds middle and radius of the disc in the picture of the reference (small pixels); none where it is not seen,
/// and then there are no times. Frames of another kind, blinks, repeated seconds and frames of another eye or gaze are left
/// out, each with its reason. None where no shot is of `modality`.
pub fn analyse(
    shots: &[Shot],
    modality: Modality,
    disc: impl FnOnce(&Shot) -> Option<([f64; 2], f64)>,
) -> Option<Run> {
    let mut out: Vec<Option<&'static str>> =
        shots.iter().map(|s| (s.modality != modality).then_some("another kind of picture")).collect();
    let of_kind: Vec<&Shot> = shots.iter().zip(&out).filter(|(_, o)| o.is_none()).map(|(s, _)| s).collect();
    let own: Vec<usize> = (0..shots.len()).filter(|i| out[*i].is_none()).collect();
    let aligned = align(&of_kind)?;
    for (k, i) in own.iter().enumerate() {
        if aligned.poses[k].is_none() {
            out[*i] = Some("its vessels fit no other frame: another eye, another gaze");
        } else if shots[*i].seconds.is_none() {
            out[*i] = Some("nobody knows its second");
        }
    }
    let second = |i: usize| shots[i].seconds.unwrap_or(f64::MAX);
    let mut order: Vec<usize> = own.iter().copied().filter(|i| out[*i].is_none()).collect();
    order.sort_by(|a, b| second(*a).total_cmp(&second(*b)).then(a.cmp(b)));
    for pair in order.windows(2) {
        if (second(pair[1]) - second(pair[0])).abs() < 1e-3 {
            out[pair[1]] = Some("another frame has the same second");
        }
    }
    order.retain(|i| out[*i].is_none());
    // A blink is darker than both neighbours by far; dye fades slowly.
    for t in order.windows(3) {
        let [a, b, c] = [0, 1, 2].map(|k| shots[t[k]].mean());
        if b < 0.6 * a.min(c) && a.min(c) > 0.02 {
            out[t[1]] = Some("darker than the frames before and after: a blink");
        }
    }
    order.retain(|i| out[*i].is_none());
    let small: Vec<usize> = order.iter().filter_map(|i| own.iter().position(|o| o == i)).collect();
    let planes = stack(&of_kind, &small, &aligned);
    let seconds: Vec<f64> = order.iter().map(|i| second(*i)).collect();
    let reference = own[aligned.reference];
    let mut problem = None;
    let found = disc(&shots[reference]);
    let curves = found.and_then(|(at, radius)| Curves::of(&planes, &seconds, Disc { at, radius }));
    let in_passage = seconds.iter().filter(|s| **s < 45.0).count();
    let (told, least_half_widths): (Times, Least) = match &curves {
        _ if in_passage < FEW => {
            problem = Some("too few frames of the first passage to tell a time");
            ([None; 4], None)
        }
        None if found.is_none() => {
            problem = Some("the disc is not seen, so arteries and veins are not told apart");
            ([None; 4], None)
        }
        None => {
            problem = Some("too few vessels about the disc to tell a time");
            ([None; 4], None)
        }
        Some(c) => {
            let t = times(c);
            if t.0[2].is_none() {
                problem = Some("arteries and veins do not come at two times, so no passage is told");
            }
            t
        }
    };
    let choroidal = found
        .filter(|_| modality == Modality::Icg)
        .and_then(|(at, radius)| Curves::choroid(&planes, &seconds, Disc { at, radius }))
        .map(|points| DyeCurve { what: "choroid".to_owned(), points });
    let marks = marks(&told);
    let frames = shots.iter().enumerate().map(|(i, s)| DyeFrame {
        name: s.name.clone(),
        modality: s.modality,
        seconds: s.seconds,
        phase: s.seconds.filter(|_| out[i].is_none()).zip(marks).map(|(t, m)| at(&m, modality, t)),
        registered: own.iter().position(|o| *o == i).is_some_and(|k| aligned.found[k]),
        left_out: out[i].map(str::to_owned),
        look: None,
    });
    let span = |t: Option<Timed>| t.map(|t| DyeSpan { seconds: t.value, interval: t.interval });
    let [choroid, arm, passage, mean] = told;
    let line = DyeLine {
        schema: DyeLine::SCHEMA.to_owned(),
        method: METHOD,
        modality,
        reference: Some(shots[reference].name.clone()),
        frames: frames.collect(),
        choroid: span(choroid),
        arm_to_retina: span(arm),
        arteriovenous_passage: span(passage),
        mean_circulation: span(mean),
        problem: problem.map(str::to_owned),
        curves: curves.as_ref().map(words).unwrap_or_default().into_iter().chain(choroidal).collect(),
        regions: Vec::new(),
        index: None,
    };
    let planes = order.into_iter().zip(planes).collect();
    Some(Run { line, reference, planes, least_half_widths })
}

fn marks(t: &Times) -> Option<Marks> {
    let artery = t[1]?.value;
    let vein = artery + t[2].map_or(USUAL_PASSAGE_S, |v| v.value);
    Some(Marks {
        // The choroid fills before the artery, 1 to 2 s (lecture notes quoted in the reference brief).
        choroid: t[0].map_or(artery - 1.5, |c| c.value.min(artery)),
        artery,
        vein,
        full: vein + t[3].map_or(USUAL_CIRCULATION_S, |m| m.value),
    })
}

/// Arterio-venous passage and mean circulation time where they cannot be told (1.46 s: laser angiograms of 18 normal eyes;
/// 4.7 s: Hickam & Frayser, IOVS 1965;4:876).
const USUAL_PASSAGE_S: f64 = 1.46;
const USUAL_CIRCULATION_S: f64 = 4.7;

fn words(c: &Curves) -> Vec<DyeCurve> {
    let all = [(Class::Artery, "arteries"), (Class::Vein, "veins"), (Class::Ground, "ground")];
    let one = |(class, what): (Class, &str)| Some(DyeCurve { what: what.to_owned(), points: c.mean(class)? });
    all.into_iter().filter_map(one).collect()
}
