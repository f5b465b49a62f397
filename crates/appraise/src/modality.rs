use crate::{anatomy::Vessels, filter, mask::Mask, scene::Scene};
use serrata_frame::Frame;
use serrata_words::Modality;
use std::ops::ControlFlow;

/// The kind of picture that the pixels look like, for frames without a label.
///
/// Colours that differ between the channels mean colour. Grey pictures with bright vessels on a dark ground are called
/// fluorescein: fluorescein and ICG cannot be told apart by the picture alone. Other grey pictures are called
/// autofluorescence where the disc is dark, else the green channel.
///
/// ```
/// use serrata_frame::{Frame, Pixels, Samples};
/// use serrata_words::Modality;
/// let red = Frame::bare(Pixels::new(2, 1, 3, Samples::U8(vec![200, 40, 0, 180, 50, 0].into()))?);
/// assert_eq!(serrata_appraise::likely_modality(&red), Modality::Colour);
/// # Ok::<(), serrata_frame::PixelsError>(())
/// ```
#[must_use]
pub fn likely_modality(frame: &Frame) -> Modality {
    if frame.pixels.channels() == 3 && coloured(frame) {
        return Modality::Colour;
    }
    // The spread of brightness needs no detail.
    let dye = Scene::sized(frame, Modality::Fa, 400);
    if bright_tail(&dye, &dye.aperture) {
        return Modality::Fa;
    }
    let plain = Scene::new(frame, Modality::Green);
    let lit = plain.aperture.clone();
    let dark = Vessels::find(&plain, &lit);
    match crate::anatomy::anatomy(&plain, &lit, &dark).disc {
        Some(d)
            if darker_than_around(
                &plain,
                d.x / plain.factor,
                d.y / plain.factor,
                d.radius / plain.factor,
            ) =>
        {
            Modality::Faf
        }
        _ => Modality::Green,
    }
}

/// Whether brightness has its tail at the bright end: dye in vessels and leaks on a dark ground. By reflected light and
/// autofluorescence the ground is bright and the vessels are the tail.
fn bright_tail(scene: &Scene<'_>, lit: &Mask) -> bool {
    let mut v: Vec<f32> =
        scene.value.data.iter().zip(&lit.data).filter(|(_, l)| **l).map(|(v, _)| *v).collect();
    let [low, middle, high] = [0.02, 0.5, 0.98].map(|share| filter::percentile(&mut v, share));
    high - middle > 1.3 * (middle - low)
}

/// Whether the channels differ by more than two grey levels on the mean.
fn coloured(frame: &Frame) -> bool {
    let (mut red_green, mut green_blue, mut most) = (0.0f32, 0.0f32, f32::INFINITY);
    let add = |sum: &mut f32, p: &[f32], q: &[f32]| p.iter().zip(q).for_each(|(a, b)| *sum += (a - b).abs());
    frame.working_rows(200, &mut |(w, h), rows| {
        add(&mut red_green, &rows[0], &rows[1]);
        add(&mut green_blue, &rows[1], &rows[2]);
        most = 2.0 / 255.0 * (w * h) as f32;
        // What differs by more than that already will not differ by less in the end.
        if red_green.max(green_blue) > most { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    red_green.max(green_blue) > most
}

fn darker_than_around(scene: &Scene<'_>, x: f64, y: f64, r: f64) -> bool {
    let (mut near, mut far) = ((0.0f64, 0.0f64), (0.0f64, 0.0f64));
    for j in 0..scene.height() {
        for i in 0..scene.width() {
            let d = (i as f64 + 0.5 - x).hypot(j as f64 + 0.5 - y) / r;
            let v = f64::from(scene.value.at(i, j));
            if d < 0.8 {
                near = (near.0 + v, near.1 + 1.0);
            } else if (1.5..3.0).contains(&d) {
                far = (far.0 + v, far.1 + 1.0);
            }
        }
    }
    near.1 > 0.0 && far.1 > 0.0 && near.0 / near.1 < far.0 / far.1
}
