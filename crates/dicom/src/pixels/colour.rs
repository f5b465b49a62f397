//! Meaning of samples to grey or red, green, blue.

use super::Stored;
use super::shape::Photometric;

/// Turns grey upright and colour differences into red, green, blue (PS3.3 C.7.6.3.1.2, full range).
pub(super) fn to_grey_or_rgb(samples: &mut Stored, photometric: Photometric) {
    match (photometric, samples) {
        (Photometric::Monochrome1, Stored::U8(v)) => v.iter_mut().for_each(|s| *s = !*s),
        (Photometric::Monochrome1, Stored::U16(v)) => v.iter_mut().for_each(|s| *s = !*s),
        (Photometric::Ybr | Photometric::Ybr422, Stored::U8(v)) => {
            for p in v.chunks_exact_mut(3) {
                let out = rgb([p[0].into(), p[1].into(), p[2].into()], 128.0);
                p.copy_from_slice(&out.map(byte));
            }
        }
        (Photometric::Ybr | Photometric::Ybr422, Stored::U16(v)) => {
            for p in v.chunks_exact_mut(3) {
                let out = rgb([p[0].into(), p[1].into(), p[2].into()], 32768.0);
                p.copy_from_slice(&out.map(word));
            }
        }
        (Photometric::Monochrome2 | Photometric::Rgb | Photometric::Palette, _) => {}
    }
}

/// Luma and colour differences to red, green, blue; `half` is the differences' zero.
fn rgb([y, b, r]: [f32; 3], half: f32) -> [f32; 3] {
    let (b, r) = (b - half, r - half);
    [y + 1.402 * r, y - 0.344_136 * b - 0.714_136 * r, y + 1.772 * b]
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // `as` clamps, which is meant
fn byte(v: f32) -> u8 {
    (v + 0.5) as u8
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // `as` clamps, which is meant
fn word(v: f32) -> u16 {
    (v + 0.5) as u16
}
