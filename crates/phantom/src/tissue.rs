//! How bright the retina is where no vessel lies, before the scanner.

use crate::Eyeball;
use crate::circulation::Moment;
use crate::noise::{cloud, ramp};
use serrata_words::{Eye, LesionKind};

/// Light that comes back from a place: the red and the green channel, or the grey one twice; and how well the
/// choroid shows through there.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Tissue {
    pub red: f32,
    pub green: f32,
    pub choroid: f32,
    /// 1 on the retina, 0 beyond the ora serrata.
    pub retina: f32,
}

impl Tissue {
    /// Between two.
    pub fn mix(self, o: Self, t: f32) -> Self {
        let m = |a: f32, b: f32| a + (b - a) * t;
        Self {
            red: m(self.red, o.red),
            green: m(self.green, o.green),
            choroid: m(self.choroid, o.choroid),
            retina: m(self.retina, o.retina),
        }
    }
}

/// Reflectance in colour at a place of the retinal frame.
pub(crate) fn reflectance(eye: &Eyeball, p: [f32; 3]) -> Tissue {
    let l = &eye.looks;
    let deg = p[2].clamp(-1.0, 1.0).acos().to_degrees();
    let dark = dark_patches(eye, p);
    let veil = cloud(p, 1.2, 2, l.noise ^ 5);
    // Towards the far periphery the pigment thins out here and there, and the red of the choroid comes through.
    let thin = ramp(35.0, 75.0, deg) * cloud(p, 1.1, 2, l.noise ^ 29).max(0.0);
    let mottle = cloud(p, 6.5, 4, l.noise ^ 11);
    let (fine_red, fine_green) = (cloud(p, 27.0, 2, l.noise ^ 71), cloud(p, 31.0, 2, l.noise ^ 73));
    let red = 0.42
        * l.red
        * (1.0 + 0.30 * veil + 0.20 * mottle + 0.85 * thin + 0.10 * fine_red)
        * (1.0 - 0.26 * dark);
    let green = 0.42
        * l.green
        * (1.0 + 0.62 * cloud(p, 1.5, 3, l.noise ^ 17) + 0.16 * mottle - 0.30 * veil + 0.14 * fine_green)
        * (1.0 - 0.62 * dark);
    // Macular pigment and denser epithelium darken the pole, most in green.
    let macula = (-(deg / 11.0).powi(2)).exp();
    let pit = (-(deg / 2.2).powi(2)).exp();
    let nerve = nerve_fibres(eye, p);
    // Light that the disc scatters into what lies round it.
    let glow = (-(off_disc(eye, p).to_degrees() / 4.5).powi(2)).exp();
    let far = 1.0 - 0.46 * ramp(55.0, 100.0, deg);
    let on = on_retina(eye, p);
    let [atrophy, closed] = regions(eye, p);
    let bare = (1.05 + 0.9 * atrophy + 0.35 * dark - 0.8 * l.pigment + 1.0 * cloud(p, 1.3, 2, l.noise ^ 21))
        .clamp(0.45, 1.0);
    Tissue {
        red: (red + 0.16 * atrophy + 0.14 * glow)
            * (1.0 - 0.28 * macula - 0.12 * pit)
            * far
            * (0.22 + 0.78 * on),
        green: ((green * (1.0 - 0.12 * closed) + 0.12 * atrophy) * (1.0 - 0.36 * macula) * (1.0 - 0.4 * pit)
            + 0.22 * nerve
            + 0.08 * glow
            + 0.32 * shimmer(eye, p, deg))
            * far
            * (0.16 + 0.84 * on),
        choroid: bare * (0.25 + 0.75 * ramp(8.0, 26.0, deg)) * on,
        retina: on,
    }
}

/// Sheen of the nerve fibres, 0 to some 1.7: round the disc, and in two bundles that arch from it above and below the macula, where they
/// lie thickest (how bright is judgement, after real frames).
fn nerve_fibres(eye: &Eyeball, p: [f32; 3]) -> f32 {
    let off = off_disc(eye, p).to_degrees();
    if off > 50.0 {
        return 0.0;
    }
    #[allow(clippy::cast_possible_truncation)] // unit vectors
    let d = eye.disc.xyz().map(|c| c as f32);
    let temporal = if eye.eye == Eye::R { -1.0 } else { 1.0 };
    // Bundles bend towards the temple on their way.
    let turn = ((p[1] - d[1]).abs()).atan2(temporal * (p[0] - d[0])).to_degrees() - 62.0 + 0.9 * off;
    let bundle = (-(turn / 26.0).powi(2)).exp() * (-off / 15.0).exp();
    let halo = (-(off / 8.0).powi(2)).exp();
    let even = 1.0 + 0.3 * cloud(p, 14.0, 3, eye.looks.noise ^ 81);
    (0.35 * (-(off / 18.0).powi(2)).exp() + 0.45 * halo + 0.95 * bundle)
        * even
        * (1.0 - ramp(38.0, 50.0, off))
}

/// Shimmer of the inner limiting membrane about the macula, 0 to some 1: broken arcs round the pit and a glint in it, strong in the young
/// (how strong and how often is judgement, after real frames).
fn shimmer(eye: &Eyeball, p: [f32; 3], deg: f32) -> f32 {
    let n = eye.looks.noise;
    let strong = ramp(0.25, 1.0, drawn(n, 30));
    if strong <= 0.0 || deg > 16.0 {
        return 0.0;
    }
    let radius = 4.5 + 3.0 * drawn(n, 31) + 1.2 * cloud(p, 6.0, 2, n ^ 91);
    let arcs = (-((deg - radius) / 1.6).powi(2)).exp() * ramp(-0.05, 0.45, cloud(p, 9.0, 3, n ^ 93));
    strong * (arcs * (1.0 + 0.5 * cloud(p, 40.0, 2, n ^ 95)) + 0.6 * (-(deg / 0.8).powi(2)).exp())
}

/// A number from 0 to 1 that an eye has for good.
fn drawn(noise: u32, k: u32) -> f32 {
    (noise.wrapping_mul(0x9e37_79b9).wrapping_add(k.wrapping_mul(0x85eb_ca6b)) >> 8) as f32 / 16_777_216.0
}

/// How dark the pigment lies at a place, 0 to 1: most eyes have one large patch temporal to the macula and one below the disc, and some
/// a few more (after real ultra-widefield frames; how many and where is judgement).
fn dark_patches(eye: &Eyeball, p: [f32; 3]) -> f32 {
    let n = eye.looks.noise;
    let ragged = 0.55 * cloud(p, 2.6, 4, n ^ 51);
    let drawn = |k| drawn(n, k);
    let temporal = if eye.eye == Eye::R { -1.0 } else { 1.0 };
    let patch = |k: u32, x: f32, y: f32| {
        let (x, y) = (temporal * (x + 14.0 * (drawn(k) - 0.5)), y + 18.0 * (drawn(k + 1) - 0.5));
        let (far, turn) = (x.hypot(y).to_radians(), y.atan2(x));
        let at = [far.sin() * turn.cos(), far.sin() * turn.sin(), far.cos()];
        let off = (p[0] * at[0] + p[1] * at[1] + p[2] * at[2]).clamp(-1.0, 1.0).acos().to_degrees();
        let size = 12.0 + 10.0 * drawn(k + 2);
        (0.3 + 0.7 * drawn(k + 3)) * (1.0 - ramp(0.0, 1.3, off / size - ragged))
    };
    let more = ramp(0.10, 0.60, cloud(p, 1.3, 4, n));
    patch(10, 32.0, 2.0).max(patch(20, -24.0, -32.0)).max(0.85 * more)
}

/// 1 on the retina, 0 beyond the scalloped ora serrata, whose pole lies between fovea and disc.
pub(crate) fn on_retina(eye: &Eyeball, p: [f32; 3]) -> f32 {
    #[allow(clippy::cast_possible_truncation)] // unit vectors
    let d = eye.disc.xyz().map(|c| c as f32);
    let pole = [d[0] * 0.22, d[1] * 0.22, 1.0];
    let n = (pole[0] * pole[0] + pole[1] * pole[1] + 1.0).sqrt();
    let c = (p[0] * pole[0] + p[1] * pole[1] + p[2]) / n;
    let off = c.clamp(-1.0, 1.0).acos() - eye.looks.ora;
    if off < -0.08 {
        return 1.0; // no tooth reaches in as far as this
    }
    let turn = p[1].atan2(p[0]);
    let teeth = 0.020 * (turn.cos() * 14.0 + turn.sin() * 11.0).sin() * (0.5 + cloud(p, 2.5, 2, 41))
        + 0.02 * cloud(p, 7.0, 2, 43);
    1.0 - ramp(-0.014, 0.014, off - teeth)
}

/// Angle from the disc's centre, radians.
pub(crate) fn off_disc(eye: &Eyeball, p: [f32; 3]) -> f32 {
    #[allow(clippy::cast_possible_truncation)] // unit vectors
    let d = eye.disc.xyz().map(|c| c as f32);
    (p[0] * d[0] + p[1] * d[1] + p[2] * d[2]).clamp(-1.0, 1.0).acos()
}

/// Autofluorescence: bright even background, dim macula, dark nothing else (disc and vessels are painted later).
pub(crate) fn autofluorescence(eye: &Eyeball, p: [f32; 3]) -> Tissue {
    let l = &eye.looks;
    let deg = p[2].clamp(-1.0, 1.0).acos().to_degrees();
    let on = on_retina(eye, p);
    let ring = (-((deg - 24.0) / 22.0).powi(2)).exp();
    let v = 0.34
        * (1.0 + 0.16 * cloud(p, 1.8, 3, l.noise) + 0.35 * ring)
        * (1.0 - 0.42 * (-(deg / 7.5).powi(2)).exp() - 0.25 * (-(deg / 2.5).powi(2)).exp())
        * (1.0 - 0.35 * ramp(60.0, 100.0, deg))
        * (1.0 - 0.88 * regions(eye, p)[0])
        * (0.1 + 0.9 * on);
    Tissue { red: v, green: v, choroid: 0.06 * on, retina: on }
}

/// How much of the weak light of dye still comes back from a place: the pupil takes up less of it the more slantwise
/// it leaves (after how real angiograms darken outwards).
pub(crate) fn reach(p: [f32; 3]) -> f32 {
    1.0 - 0.85 * ramp(55.0, 112.0, p[2].clamp(-1.0, 1.0).acos().to_degrees())
}

/// Background of fluorescein: the choroidal flush behind the epithelium and the capillaries before it, both dark at
/// the fovea.
pub(crate) fn fluorescein(eye: &Eyeball, p: [f32; 3], dye: &Moment<'_>) -> Tissue {
    let l = &eye.looks;
    let deg = p[2].clamp(-1.0, 1.0).acos().to_degrees();
    let on = on_retina(eye, p);
    let [atrophy, closed] = regions(eye, p);
    let centre = 0.40 + 0.60 * (-(deg / 45.0).powi(2)).exp();
    // The lobules of the choroid behind, the capillary bed before: both shimmer.
    let lobules = 1.0 + 0.35 * cloud(p, 2.0, 3, l.noise) + 0.30 * cloud(p, 24.0, 2, l.noise ^ 61);
    let flush = 0.21 * dye.choroid(p, l.noise) * lobules * (1.0 + 1.6 * atrophy);
    let even = 1.0 + 0.35 * cloud(p, 12.0, 3, l.noise ^ 63);
    let bed = 0.15 * even * dye.capillary(off_disc(eye, p)) * (1.0 - closed) * (1.0 - atrophy);
    let v = (0.004 + (flush + bed) * centre)
        * (1.0 - 0.82 * (-(deg / 5.0).powi(2)).exp() * (1.0 - atrophy))
        * reach(p)
        * (0.3 + 0.7 * on);
    Tissue { red: v, green: v, choroid: 0.22 * (1.0 - l.pigment) + 0.06, retina: on }
}

/// Background of indocyanine green: the choroid itself. Late the vessels are washed out before a ground that holds
/// what they left there.
pub(crate) fn indocyanine(eye: &Eyeball, p: [f32; 3], dye: &Moment<'_>) -> Tissue {
    let l = &eye.looks;
    let deg = p[2].clamp(-1.0, 1.0).acos().to_degrees();
    let on = on_retina(eye, p);
    let [atrophy, _] = regions(eye, p);
    let now = dye.choroid(p, l.noise);
    let v = (0.012 + (0.30 * now + 0.07 * dye.gathered()) * (1.0 + 0.3 * cloud(p, 2.4, 3, l.noise)))
        * (1.0 - 0.4 * atrophy)
        * (1.0 - 0.5 * ramp(60.0, 105.0, deg))
        * (0.3 + 0.7 * on);
    // Below an even ground the large vessels turn dark.
    Tissue { red: v, green: v, choroid: (1.1 * now - 0.35 * dye.gathered()) * on, retina: on }
}

/// How much of an atrophy, and of a region without perfusion, lies at a place.
pub(crate) fn regions(eye: &Eyeball, p: [f32; 3]) -> [f32; 2] {
    let most = |kind| eye.lesions.iter().filter(|l| l.kind == kind).map(|l| l.inside(p)).fold(0.0, f32::max);
    if eye.lesions.is_empty() {
        [0.0; 2]
    } else {
        [most(LesionKind::Atrophy), most(LesionKind::NonPerfusion)]
    }
}
