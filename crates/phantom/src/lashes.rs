use crate::canvas::{BAND, Canvas, Clip, Stroke};
use rand::RngExt;
use rand_pcg::Pcg64Mcg;
use serrata_words::Side;

/// Lashes that hang in together.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bunch {
    /// Usual length as a share of the picture's side.
    pub length: f64,
    pub count: u32,
    /// Where along the side their middle is, −1 to 1.
    pub at: f64,
    /// How they lean along the side, as a slope.
    pub lean: f64,
    /// Darkness of the darkest, 0 to 1.
    pub dark: f32,
}

/// Draws a bunch on a plane of that many cells: dark, bent, tapering, far out of focus; rooted beyond the aperture's
/// rim on that side.
pub(crate) fn draw(rng: &mut Pcg64Mcg, cells: [usize; 2], side: Side, bunch: &Bunch) -> Vec<f32> {
    let [n, m] = cells;
    #[allow(clippy::cast_precision_loss)] // cells of a picture
    let (scale, tall) = (n as f32, m as f32 / n as f32);
    #[allow(clippy::cast_possible_truncation)] // cells of a picture
    let (size, height) = (n as u32, m as u32);
    // The lid's margin lies beyond the aperture's rim, or the picture's edge where that cuts the aperture.
    let margin = (0.5 * tall).min(0.44);
    // A bunch out of a corner stands closer, and its lashes lie alike.
    let corner = bunch.at != 0.0;
    let (spread, stray) = if corner { (0.55, 0.4) } else { (1.0, 1.0f32) };
    let bow = rng.random_range(-0.35..0.35f32);
    let mut out = vec![0f32; n * m];
    for _ in 0..bunch.count {
        #[allow(clippy::cast_possible_truncation)] // about one
        let (length, at, lean) = (bunch.length as f32, bunch.at as f32, bunch.lean as f32);
        let length = length * rng.random_range(0.3..1.5f32);
        let root = 0.5 + 0.5 * at + rng.random_range(-0.26..0.26f32) * spread;
        // Lashes fan out from the middle of their bunch.
        let lean = lean + 1.2 * (root - 0.5 - 0.5 * at) + stray * rng.random_range(-0.45..0.45f32);
        let bend = if corner { bow } else { 0.0 } + stray * rng.random_range(-0.4..0.4f32);
        let half = rng.random_range(0.0012..0.0070f32) * scale;
        let mut canvas = Canvas::new(size, height, rng.random_range(0.005..0.020f32) * scale);
        let point = |t: f32| {
            let (u, v) = (length * t, root + length * (lean * t + bend * t * t));
            let (x, y) = match side {
                Side::Top => (v, 0.5 * tall - margin + u),
                Side::Bottom => (v, 0.5 * tall + margin - u),
                Side::Left => (u, tall * v),
                Side::Right => (1.0 - u, tall * v),
            };
            [x * scale, y * scale]
        };
        for k in 0..10u8 {
            let (t, u) = (f32::from(k) / 10.0, f32::from(k + 1) / 10.0);
            let taper = |t: f32| half * (1.0 - 0.85 * t);
            let stroke =
                Stroke { a: point(t), b: point(u), half: [taper(t), taper(u)], strength: 1.0, rim: 0.0 };
            canvas.push(stroke, &Clip { rows: 0..height, columns: 0..size });
        }
        let dark = bunch.dark * rng.random_range(0.55..1.0f32);
        let mut band = vec![0f32; n * BAND as usize];
        for (b, rows) in out.chunks_mut(n * BAND as usize).enumerate() {
            canvas.draw(b, &mut band);
            for (o, v) in rows.iter_mut().zip(&band) {
                // Two lashes together let through the product of what each lets through.
                *o = 1.0 - (1.0 - *o) * (1.0 - dark * v);
            }
        }
    }
    out
}
