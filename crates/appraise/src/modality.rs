use crate::{anatomy::Vessels, mask::Mask, scene::Scene};
use serrata_frame::Frame;
use serrata_words::Modality;

/// The kind of picture that the pixels look like, for frames without a label.
///
/// Colours that differ between the channels mean colour. Grey pictures with bright vessels are called fluorescein:
/// fluorescein and ICG cannot be told apart by the picture alone. Grey pictures with dark vessels and a dark disc are
/// called autofluorescence, with a bright disc the green channel.
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
    let grey = if frame.pixels.channels() == 3 {
        if coloured(frame) {
            return Modality::Colour;
        }
        true
    } else {
        true
    };
    debug_assert!(grey);
    let dye = Scene::new(frame, Modality::Fa);
    let all = Mask::new(dye.width(), dye.height(), true).and(&dye.aperture);
    let bright = Vessels::find(&dye, &all);
    let plain = Scene::new(frame, Modality::Green);
    let dark = Vessels::find(&plain, &all);
    if bright.contrast >= dark.contrast {
        return Modality::Fa;
    }
    let disc = crate::anatomy::anatomy(&plain, &all, &dark).disc;
    match disc {
        Some(d) if darker_than_around(&plain, d.x / plain.factor, d.y / plain.factor, d.radius / plain.factor) => {
            Modality::Faf
        }
        _ => Modality::Green,
    }
}

/// Whether the channels differ by more than two grey levels on the mean.
fn coloured(frame: &Frame) -> bool {
    let w = frame.working(200);
    let [r, g, b] = [&w.channels[0], &w.channels[1], &w.channels[2]];
    let n = r.data.len().max(1) as f32;
    let apart = |p: &[f32], q: &[f32]| p.iter().zip(q).map(|(a, b)| (a - b).abs()).sum::<f32>() / n;
    apart(&r.data, &g.data) > 2.0 / 255.0 || apart(&g.data, &b.data) > 2.0 / 255.0
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
