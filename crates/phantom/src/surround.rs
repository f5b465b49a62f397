//! What some sources keep of a picture beyond the aperture: the rim of the instrument's front, and the face about it, lit by what is
//! scattered and out of focus (after real frames; how bright is judgement).

use crate::aperture;
use crate::noise::{flat, ramp};
use crate::scene::Scene;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// How the surroundings of one shot are lit.
pub(crate) struct Surround {
    /// Upper left, upper right, lower left, lower right: light, and how much of the red comes with it.
    corners: [[f32; 2]; 4],
    /// Share of the light that the barrier filter leaves.
    passes: f32,
    grain: u32,
}

impl Surround {
    /// None where the picture ends at the aperture.
    pub fn of(scene: &Scene) -> Option<Self> {
        if !scene.surround {
            return None;
        }
        let mut rng = Pcg64Mcg::seed_from_u64(scene.seed ^ scene.shot.rotate_left(9) ^ 0x0f_ace0);
        let corners = [(); 4].map(|()| [rng.random_range(0.15..0.75), rng.random_range(0.25..1.0)]);
        // Skin glows little in the light that dye and lipofuscin glow in.
        let passes = if scene.modality.is_dye() || scene.modality == serrata_words::Modality::Faf {
            rng.random_range(0.01..0.04)
        } else {
            1.0
        };
        Some(Self { corners, passes, grain: rng.random() })
    }

    /// Red and green light at (u, v) from −1 to 1 across the picture; 0 within the aperture.
    pub fn light(&self, u: f64, v: f64) -> [f32; 2] {
        #[allow(clippy::cast_possible_truncation)] // about one
        let (far, x, y) = (aperture::signed(u, v) as f32, u as f32, v as f32);
        if far <= 0.0 {
            return [0.0; 2];
        }
        // From corner to corner the light changes slowly.
        let (across, down) = (ramp(-0.5, 0.5, x), ramp(-0.4, 0.4, y));
        let between = |k: usize| {
            let [a, b, c, d] = self.corners.map(|corner| corner[k]);
            (a + (b - a) * across) * (1.0 - down) + (c + (d - c) * across) * down
        };
        let (level, red) = (between(0), between(1));
        // The front's edge: dark, a bevel that catches the light here and there, with a line in it, dark again; beyond it the face, with folds.
        let caught = ramp(-0.1, 0.5, flat(x * 1.7, y * 1.7, self.grain ^ 9));
        let bevel = caught * ramp(0.010, 0.026, far) * (1.0 - ramp(0.036, 0.056, far));
        let line = 1.0 - 0.6 * ramp(0.0, 0.004, 0.006 - (far - 0.031).abs());
        let waver = 0.09 * flat(x * 2.0, y * 2.0, self.grain);
        let deep = 0.6 * ramp(-0.2, 0.4, flat(x * 2.5, y * 2.5, self.grain ^ 3));
        let fold = 1.0 - deep * ramp(0.0, 0.05, 0.05 - (far - 0.16 - waver).abs());
        let shade = 0.65 + 0.35 * ramp(0.05, 0.30, far);
        let face =
            shade * ramp(0.045, 0.105, far) * fold * (1.0 + 0.3 * flat(x * 4.0, y * 4.0, self.grain ^ 5));
        let light = self.passes * level * (0.85 * bevel * line + face).max(0.02);
        [0.9 * red * light, light]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::{Eye, Modality};

    #[test]
    fn only_what_lies_beyond_the_aperture_is_lit_and_only_where_asked() {
        let mut scene = Scene::new(5, Eye::R, Modality::Colour);
        assert!(Surround::of(&scene).is_none());
        scene.surround = true;
        let about = Surround::of(&scene).unwrap();
        assert_eq!(about.light(0.0, 0.0), [0.0; 2]);
        let corner = about.light(-0.99, -0.79);
        assert!(corner[1] > 0.05 && corner[0] < corner[1], "{corner:?}");
        (scene.size, scene.height) = (240, Some(192));
        let bytes = |s: &Scene| match crate::render(s).frame.pixels.samples() {
            serrata_frame::Samples::U8(v) => v.to_vec(),
            serrata_frame::Samples::U16(_) => Vec::new(),
        };
        let (with, without) = (bytes(&scene), bytes(&Scene { surround: false, ..scene.clone() }));
        let mut lit = 0;
        for (k, (a, b)) in with.chunks(3).zip(without.chunks(3)).enumerate() {
            let (u, v) = ((k % 240) as f64 / 119.5 - 1.0, ((k / 240) as f64 - 95.5) / 120.0);
            if aperture::signed(u, v) < -0.02 {
                assert_eq!(a, b, "{u} {v}");
            } else {
                lit += usize::from(a[1] > b[1].saturating_add(20));
            }
        }
        assert!(lit > 200, "{lit}");
        scene.modality = Modality::Fa;
        assert!(Surround::of(&scene).unwrap().light(-0.99, -0.79)[1] < 0.05);
    }
}
