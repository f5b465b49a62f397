//! Times of a run with their intervals.

use crate::curves::{Class, Curves};
use crate::passage::{Fitted, Measured, Passage};

/// A second, or a number of seconds, with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Timed {
    pub value: f64,
    pub interval: [f64; 2],
}

/// Choroid, arm to retina, arterio-venous passage, mean circulation: none where too little shows.
pub(crate) type Times = [Option<Timed>; 4];

/// Half-widths of 95 % intervals that nobody could better, in the order of [`Times`] from the arrival on.
pub(crate) type Least = Option<[f64; 3]>;

/// First dye runs along the walls of a vein, and most of the blood in its middle, where a small picture shows the mean over
/// the whole width. So the first dye is sooner than a tenth of the vein's brightness by this factor, and the mean
/// transit longer than that of the brightness. Both from simulated eyes, not from people (docs/dye.md).
const FIRST_DYE: f64 = 0.425;
const WHOLE_FLOW: f64 = 1.14;

/// Arteries are read 1 to 2 disc diameters from the disc's middle, where dye comes so much later than at its margin, seconds. From
/// simulated eyes.
const OUTWARD_S: f64 = 0.15;

/// What the model itself is off by, whatever the fit says: a share of the value, and seconds. From simulated eyes.
const OFF: [(f64, f64); 4] = [(0.0, 0.35), (0.0, 0.25), (0.13, 0.05), (0.07, 0.1)];

/// A run whose first frame is less than so long before the dye shows no foot of the curves to hold the fit by; then the arrival is
/// off by more, seconds. From simulated eyes.
const BEFORE_S: f64 = 2.0;
const OFF_WITHOUT_FOOT_S: f64 = 0.55;

/// Times from one fit to the three curves; none where nothing rises.
pub(crate) fn times(curves: &Curves) -> (Times, Least) {
    let row = |class| Some(curves.mean(class)?.iter().map(|p| p[1]).collect::<Vec<f64>>());
    let (Some(arteries), Some(ground)) = (row(Class::Artery), row(Class::Ground)) else {
        return ([None; 4], None);
    };
    let veins = row(Class::Vein).filter(|_| curves.apart);
    let told = veins.is_some();
    let Some(fit) = Fitted::of(&Measured { seconds: curves.seconds.clone(), arteries, veins, ground }) else {
        return ([None; 4], None);
    };
    let first = |p: &Passage| p.arterial(0.1);
    let arm = |p: &Passage| first(p) - OUTWARD_S;
    let timed = |k: usize, of: &dyn Fn(&Passage) -> f64| {
        let (value, error) = fit.number(of);
        let (share, mut seconds) = OFF[k];
        if k < 2 && value - curves.seconds.first().copied().unwrap_or(value) < BEFORE_S {
            seconds = OFF_WITHOUT_FOOT_S;
        }
        let half = 1.96 * error.hypot(share * value).hypot(seconds);
        value.is_finite().then_some(Timed { value, interval: [value - half, value + half] })
    };
    let [arrival, transit] = fit.knowing_the_eye().map(|sd| 1.96 * sd);
    let told_times = [
        timed(0, &|p| arm(p) - p.lead()),
        timed(1, &arm),
        timed(2, &|p| FIRST_DYE * (p.venous(0.1) - first(p))).filter(|_| told),
        timed(3, &|p| WHOLE_FLOW * p.transit()).filter(|_| told),
    ];
    (told_times, Some([arrival, FIRST_DYE * transit, WHOLE_FLOW * transit]))
}
