use serrata_frame::Frame;
use serrata_words::DyeLook;

/// Balance of bright vessels up to which a frame looks like no angiogram, and from which it does: set by eye on the 18
/// ultra-widefield frames at hand and one simulated run.
const ANGIOGRAM: [f64; 2] = [0.49, 0.53];

/// Rise of the brightest twentieth up to which veins look unfilled, and from which they look filled: set on 20 labelled frames of
/// 50°. No arterial frame of a wider field was at hand to set one by, so of those nothing is said.
const VEINS: [f64; 2] = [0.45, 0.65];

/// What a single frame's pixels say of dye.
///
/// Bright vessels are an angiogram's, dark ones are not; where little rises above the ground the veins have not filled.
/// Between the limits, and of veins in an ultra-widefield frame, it is not sure.
#[must_use]
pub fn look(frame: &Frame) -> Option<DyeLook> {
    let light = serrata_appraise::vessel_light(frame)?;
    let between = |v: f64, [low, high]: [f64; 2]| (v >= high).then_some(true).or((v <= low).then_some(false));
    let angiogram = between(light.bright, ANGIOGRAM);
    Some(DyeLook {
        bright: light.bright,
        rise: light.rise,
        angiogram,
        veins_filled: between(light.rise, VEINS).filter(|_| light.narrow && angiogram == Some(true)),
    })
}
