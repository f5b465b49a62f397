//! Patches that were painted over before the picture came: even, without noise, with straight sides.

use crate::{filter, mask::Mask, scene::Scene};
use serrata_frame::Plane;

/// Painted rectangles inside the aperture of a grey picture. They are neither retina nor a fault. `mean`: the brightness as
/// the mean over five by five pixels.
pub(crate) fn painted(scene: &Scene<'_>, mean: &Plane) -> Mask {
    let (w, h) = (scene.width(), scene.height());
    let none = Mask::new(w, h, false);
    if scene.red.is_some() {
        return none;
    }
    let square = Plane { width: w, height: h, data: scene.value.data.iter().map(|v| v * v).collect() };
    let square = filter::box_mean(&square, 2);
    // Half a grey level of 8 bit: less than any sensor's noise leaves.
    let even = Mask::from_fn(w, h, |x, y| {
        let m = mean.at(x, y);
        m > 0.03 && m < 0.97 && square.at(x, y) - m * m < (0.5f32 / 255.0).powi(2) && scene.aperture.at(x, y)
    });
    let mut out = none;
    for part in even.parts().into_iter().take_while(|p| p.len() * 500 > w * h) {
        let (mut x0, mut x1, mut y0, mut y1) = (w, 0, h, 0);
        for i in &part {
            (x0, x1) = (x0.min(i % w), x1.max(i % w));
            (y0, y1) = (y0.min(i / w), y1.max(i / w));
        }
        if part.len() * 10 > (x1 - x0 + 1) * (y1 - y0 + 1) * 9 {
            // The window of the variance spans two pixels more on each side.
            for y in y0.saturating_sub(2)..(y1 + 3).min(h) {
                for x in x0.saturating_sub(2)..(x1 + 3).min(w) {
                    out.data[y * w + x] = true;
                }
            }
        }
    }
    out
}
