//! Visible retina: what is neither lid, nor face, nor the dark rim, nor outside the instrument's aperture.
//!
//! The outline is sought ray by ray around a centre, as the closed curve with the greatest total evidence. In
//! pictures made by reflected light that evidence is an edge to the brighter lid or to black; in dye pictures it is
//! the place where the dye's light falls to the floor, so that dark retina between lit vessels stays inside.

mod dye;
mod margin;
mod reflected;

use crate::{
    filter,
    mask::Mask,
    radial::{Rays, STEPS},
    scene::Scene,
};
use serrata_frame::Plane;

/// What the outline of the retina tells apart.
pub(crate) struct Visible {
    /// The visible retina on the working plane, blinks not yet taken out, with the dim of its rim: what is looked at.
    pub(crate) retina: Mask,
    /// The same as far as it is lit: what is told as seen.
    pub(crate) lit: Mask,
    /// What lies behind a lid's margin inside the aperture: however dim where the margin was seen, else as far as it is lit.
    pub(crate) behind_margins: Mask,
}

/// An outline about a centre, in steps of each ray.
struct Outline {
    rays: Rays,
    radii: Vec<usize>,
    /// Where lids begin; `STEPS` where none does.
    margins: Vec<usize>,
    /// Where the light ends within the outline; none where dark retina is retina too.
    lit: Option<Vec<usize>>,
    /// The darkest step before the light rises again without any detail in it, as it does over a lid; `STEPS` where it does not.
    lids: Option<Vec<usize>>,
}

/// Light of a lid in a dye picture above the darkest, as a share of the retina's middle one: what is darker beyond its margin may be the rim, or black.
const LID: f32 = 0.5;

/// Looks for the visible retina.
pub(crate) fn visible(scene: &Scene<'_>) -> Visible {
    let (w, h) = (scene.width(), scene.height());
    let none = Mask::new(w, h, false);
    // A round aperture with black around it is the instrument's own: in dye pictures nothing inside needs light.
    if scene.round && scene.modality.is_dye() {
        let retina = scene.aperture.and_not(&scene.painted);
        return Visible { lit: retina.clone(), retina, behind_margins: none };
    }
    let Outline { rays, radii, margins, lit, lids } =
        if scene.modality.is_dye() { dye::outline(scene) } else { reflected::outline(scene) };
    let rays = rays.grown(scene.half.step);
    let retina = rays.fill(&calm(&radii), w, h).and(&scene.aperture);
    let lit = lit.map_or_else(|| retina.clone(), |ends| rays.fill(&calm(&ends), w, h).and(&retina));
    let beyond = |margins: &[usize]| {
        if margins.iter().all(|m| *m == STEPS) {
            return none.clone();
        }
        let before: Vec<f32> = margins.iter().map(|m| *m as f32 + 0.5).collect();
        scene.aperture.and_not(&rays.fill(&before, w, h)).and_not(&retina)
    };
    let mut behind_margins = beyond(&margins);
    if let Some(lids) = lids {
        let floor = filter::percentile_where(&scene.value, &scene.aperture, 0.05);
        let middle = filter::percentile_where(&scene.value, &retina, 0.5);
        let level = floor + LID * (middle - floor);
        let lids = beyond(&lids);
        for ((b, l), v) in behind_margins.data.iter_mut().zip(&lids.data).zip(&scene.value.data) {
            *b |= *l && *v > level;
        }
    }
    if scene.painted.count() == 0 {
        return Visible { retina, lit, behind_margins };
    }
    // A painted patch may leave slivers between itself and the outline.
    let retina = retina.and_not(&scene.painted).without_specks(w * h / 200);
    let lit = lit.and(&retina);
    Visible { retina, lit, behind_margins: behind_margins.and_not(&scene.painted) }
}

/// The aperture on the half-size planes: 1 inside, 0 outside.
fn inside(scene: &Scene<'_>) -> Plane {
    let a = &scene.aperture;
    filter::half(&Plane {
        width: a.width,
        height: a.height,
        data: a.data.iter().map(|b| f32::from(u8::from(*b))).collect(),
    })
}

/// Takes the steps out of an outline: the mean over five neighbours.
fn calm(radii: &[usize]) -> Vec<f32> {
    let n = radii.len();
    (0..n).map(|k| (0..5).map(|d| radii[(k + n + d - 2) % n] as f32).sum::<f32>() / 5.0 + 0.5).collect()
}

/// Steps that an outline goes back at most to where it is lit: some 2.5 % of a wide picture's width (judgement).
const BACK: usize = STEPS / 24;

/// Means of a ray's values over the `width` steps before and after each step; outside the plane values are `None`.
struct Profile {
    values: Vec<Option<f32>>,
}

impl Profile {
    /// `of`: the value of a pixel of the plane that the rays were made for.
    fn along(rays: &Rays, ray: usize, of: impl Fn(usize) -> f32) -> Self {
        let pixels = rays.pixels(ray);
        let mut values: Vec<Option<f32>> = pixels.iter().map(|i| Some(of(*i))).collect();
        values.resize(STEPS, None);
        Self { values }
    }

    /// The values up to the first that is none.
    fn leading(&self) -> Vec<f32> {
        self.values.iter().map_while(|v| *v).collect()
    }

    /// Mean over steps `from..to` that lie in the plane.
    fn mean(&self, from: usize, to: usize) -> Option<f32> {
        let part = self.values.get(from..to.min(self.values.len()))?;
        let (mut sum, mut n) = (0.0, 0.0);
        for v in part.iter().flatten() {
            sum += v;
            n += 1.0;
        }
        (n > 0.0).then(|| sum / n)
    }

    /// Where an outline that was found at a step ends if it is dark beyond: the last step, a little further in at most, with
    /// that share of the light before. `dark`: the share beyond up to which it is dark there.
    fn lit_end(&self, found: usize, share: f32, dark: f32) -> usize {
        let inner = self.mean(found.saturating_sub(3 * BACK), found.saturating_sub(BACK)).unwrap_or(0.0);
        // Past the step itself, which is half dark. At the picture's own border there is no rim.
        if self.mean(found + 2, found + 2 + BACK).is_none_or(|outer| outer > dark * inner) {
            return found;
        }
        let lit = |s: usize| self.values[s].is_some_and(|v| v >= share * inner);
        (found.saturating_sub(BACK)..=found.min(STEPS - 1)).rev().find(|s| lit(*s)).unwrap_or(found)
    }

    /// The last step whose value is above `limit`, or 0.
    fn last_above(&self, limit: f32) -> usize {
        (0..STEPS).rev().find(|s| self.values[*s].is_some_and(|v| v > limit)).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn falling(to: f32) -> Profile {
        // Lit to step 100, then down to `to` within ten steps.
        let values = (0..STEPS).map(|s| Some(1.0 - (1.0 - to) * (s as f32 - 100.0).clamp(0.0, 10.0) / 10.0));
        Profile { values: values.collect() }
    }

    #[test]
    fn an_outline_goes_back_to_half_of_the_light_before_a_black_rim_only() {
        assert_eq!(falling(0.0).lit_end(109, 0.5, 0.2), 105);
        assert_eq!(falling(0.4).lit_end(109, 0.5, 0.2), 109, "dim retina beyond is no rim");
        let mut cut = falling(0.0);
        cut.values[111..].fill(None);
        assert_eq!(cut.lit_end(109, 0.5, 0.2), 109, "the picture's own border");
    }
}
