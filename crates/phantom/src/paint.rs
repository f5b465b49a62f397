//! From strokes and tissue to light on the detector, band by band.

use crate::Eyeball;
use crate::aperture;
use crate::blood;
use crate::canvas::{BAND, Canvas, Clip, Stroke};
use crate::choroid::Strand;
use crate::circulation::Moment;
use crate::marks::{Look, Marks};
use crate::noise::{Patch, flat, ramp};
use crate::optics::Optics;
use crate::scene::Scene;
use crate::tissue::{self, Tissue};
use crate::vessels::Tree;
use rayon::prelude::*;
use serrata_eye::Rotation;
use serrata_words::{Eye, Modality};

/// Light on the detector: one plane a channel, 0 to about 1; grey pictures have one.
pub(crate) struct Light {
    pub channels: Vec<Vec<f32>>,
}

/// Everything that one frame's painting needs.
pub(crate) struct Painter<'a> {
    eye: &'a Eyeball,
    optics: &'a Optics,
    modality: Modality,
    /// How bright dye in tissue that takes it up slowly is by now.
    gathered: f32,
    arteries: Canvas,
    veins: Canvas,
    choroid: Canvas,
    marks: Marks,
    grid: Grid,
    /// Rows of the rotation matrices, one a pose.
    turns: Vec<[[f32; 3]; 3]>,
    /// Strength of the two octaves of grain, less where a pixel is larger than the grain.
    grain: [f32; 2],
}

/// Planes of strokes of one band: arteries, veins, choroid, and dark, bright and pooling marks and scars.
type Desk = [Vec<f32>; 7];

/// Tissue on a coarse grid.
struct Grid {
    step: u32,
    side: usize,
    points: Vec<Tissue>,
    /// Cell of each column of the picture, and how far into it the column's middle lies.
    columns: Vec<(usize, f32)>,
}

#[allow(clippy::cast_possible_truncation)] // rotations
fn single(r: Rotation) -> [[f32; 3]; 3] {
    r.rows().map(|row| row.map(|c| c as f32))
}

impl<'a> Painter<'a> {
    pub fn new(eye: &'a Eyeball, scene: &Scene, optics: &'a Optics, moment: Option<&Moment<'_>>) -> Self {
        let size = optics.size;
        let (mut arteries, mut veins) =
            (Canvas::new(size, optics.height, 1.2), Canvas::new(size, optics.height, 1.2));
        #[allow(clippy::cast_precision_loss)] // picture sides
        let mut choroid = Canvas::new(size, optics.height, (size as f32 * 0.0016).max(1.0));
        let mut marks = Marks::new(size, optics.height);
        #[allow(clippy::cast_possible_truncation)] // millimetres
        let radius_mm = (eye.axial_length_mm / 2.0) as f32;
        let look = Look { modality: scene.modality, moment, radius_mm };
        let colours = matches!(scene.modality, Modality::Colour | Modality::Red | Modality::Green);
        for pose in &optics.poses {
            let clip = Clip { rows: pose.rows.clone(), columns: pose.columns.clone() };
            let project = Projector::new(optics, pose.to_retina);
            // In reflected light an artery's middle throws light back.
            match moment {
                Some(m) => {
                    let depth = |half| absorption(half, 0.6);
                    project.tree(&eye.arteries, &clip, &mut arteries, depth, |i| filled(m.artery(i)));
                    project.tree(&eye.veins, &clip, &mut veins, depth, |i| filled(m.vein(i)));
                }
                None if colours => {
                    let path = |half: f32| blood::path(half * radius_mm);
                    project.tree(&eye.arteries, &clip, &mut arteries, path, |_| (1.0, 0.25));
                    project.tree(&eye.veins, &clip, &mut veins, path, |_| (1.0, -0.30));
                }
                None => {
                    project.tree(
                        &eye.arteries,
                        &clip,
                        &mut arteries,
                        |h| absorption(h, 1.7),
                        |_| (1.0, 0.35),
                    );
                    project.tree(&eye.veins, &clip, &mut veins, |h| absorption(h, 1.7), |_| (1.0, -0.30));
                }
            }
            for s in &eye.strands {
                project.strand(s, &clip, &mut choroid);
            }
            for l in &eye.lesions {
                if let Some((at, k)) = project.place(l.at) {
                    marks.push(l, at, k * project.scale, &look, &clip);
                }
            }
        }
        let grid = Grid::new(eye, optics, scene.modality, moment);
        let gathered = moment.map_or(0.0, Moment::gathered);
        #[allow(clippy::cast_possible_truncation)] // pixels
        let pixel = optics.view.pixel() as f32;
        let grain = [0.0060, 0.0024f32].map(|g| ramp(0.3, 1.6, g / pixel));
        let turns = optics.poses.iter().map(|p| single(p.to_retina)).collect();
        Self {
            eye,
            optics,
            modality: scene.modality,
            gathered,
            arteries,
            veins,
            choroid,
            marks,
            grid,
            turns,
            grain,
        }
    }

    /// An empty chamber: a little stray light.
    pub fn dark(&self) -> Light {
        let all = self.optics.size as usize * self.optics.height as usize;
        let channels = if self.modality == Modality::Colour { 2 } else { 1 };
        Light { channels: vec![vec![0.02; all]; channels] }
    }

    /// Paints the whole frame.
    pub fn paint(&self) -> Light {
        let n = self.optics.size as usize;
        let all = n * self.optics.height as usize;
        let band = n * BAND as usize;
        let mut first = vec![0f32; all];
        if self.modality == Modality::Colour {
            let mut second = vec![0f32; all];
            first.par_chunks_mut(band).zip(second.par_chunks_mut(band)).enumerate().for_each_init(
                || self.desk(),
                |desk, (b, (r, g))| {
                    self.band(b, desk, |i, light| {
                        r[i] = light[0];
                        g[i] = light[1];
                    });
                },
            );
            Light { channels: vec![first, second] }
        } else {
            let pick = usize::from(self.modality != Modality::Red);
            first.par_chunks_mut(band).enumerate().for_each_init(
                || self.desk(),
                |desk, (b, grey)| self.band(b, desk, |i, light| grey[i] = light[pick]),
            );
            Light { channels: vec![first] }
        }
    }

    /// Room for one band's strokes.
    fn desk(&self) -> Desk {
        [(); 7].map(|()| vec![0f32; (self.optics.size * BAND) as usize])
    }

    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // picture sides
    fn band(&self, band: usize, planes: &mut Desk, mut put: impl FnMut(usize, [f32; 2])) {
        let n = self.optics.size;
        self.arteries.draw(band, &mut planes[0]);
        self.veins.draw(band, &mut planes[1]);
        self.choroid.draw(band, &mut planes[2]);
        for (canvas, plane) in [&self.marks.dark, &self.marks.bright, &self.marks.pools, &self.marks.scars]
            .iter()
            .zip(&mut planes[3..])
        {
            // What is never drawn on stays as it was made.
            if !canvas.is_empty() {
                canvas.draw(band, plane);
            }
        }
        let top = band as u32 * BAND;
        let k = (self.optics.view.pixel() / 2.0) as f32;
        let even = self.optics.view.even;
        let (half, middle) = (n as f32 / 2.0, self.optics.height as f32 / 2.0);
        let seed = self.eye.looks.noise;
        let mut grain = [Patch::new(seed), Patch::new(seed ^ 3), Patch::new(seed ^ 5)];
        let mut tissue = Vec::new();
        for y in top..(top + BAND).min(self.optics.height) {
            let v = (middle - y as f32 - 0.5) * k;
            self.grid.row(y, &mut tissue);
            for x in aperture::columns(y, n, self.optics.height) {
                let u = (x as f32 + 0.5 - half) * k;
                let view = if even {
                    let far = u.hypot(v).max(1e-9);
                    let (s, c) = (2.0 * far).min(std::f32::consts::PI).sin_cos();
                    [s * u / far, s * v / far, c]
                } else {
                    let s = 1.0 + u * u + v * v;
                    [2.0 * u / s, 2.0 * v / s, (2.0 - s) / s]
                };
                let m = self.turn(x, y);
                let p = m.map(|r| r[0] * view[0] + r[1] * view[1] + r[2] * view[2]);
                let i = ((y - top) * n + x) as usize;
                let strokes = [0, 1, 2, 3, 4, 5, 6].map(|k: usize| planes[k][i]);
                let (cell, s) = self.grid.columns[x as usize];
                let t = tissue[cell].mix(tissue[cell + 1], s);
                put(i, self.light(p, t, strokes, &mut grain));
            }
        }
    }

    fn turn(&self, x: u32, y: u32) -> &[[f32; 3]; 3] {
        &self.turns[self.optics.turn(x, y)]
    }

    /// Light from one place of the retina: red and green, or grey twice.
    fn light(
        &self,
        p: [f32; 3],
        t: Tissue,
        [artery, vein, choroid, dark, bright, pool, scar]: [f32; 7],
        grains: &mut [Patch; 3],
    ) -> [f32; 2] {
        // Grain on an equal-area map, so that it sticks to the retina.
        let l = (2.0 / (1.0 + p[2]).max(1e-3)).sqrt();
        let (x, y) = (p[0] * l, p[1] * l);
        let coarse = self.grain[0] * grains[0].at(x * (1.0 / 0.0060), y * (1.0 / 0.0060));
        let fine = self.grain[1] * grains[1].at(x * (1.0 / 0.0024), y * (1.0 / 0.0024));
        let grain = coarse + fine;
        let disc = self.disc(p);
        // On the disc vessels divide, and stand before a bright ground.
        let clear = t.retina * (1.0 - 0.35 * disc.plate);
        let clear = if self.modality == Modality::Fa { clear * tissue::reach(p) } else { clear };
        let (artery, vein) = (artery * clear, vein * clear);
        match self.modality {
            Modality::Fa => {
                // The meshes of the capillary bed are some 70 µm wide: bright threads about dark gaps, finer than what is to be seen of them.
                let net = grains[2]
                    .at((0.80 * x - 0.60 * y) * (1.0 / 0.0085), (0.60 * x + 0.80 * y) * (1.0 / 0.0085));
                let mesh = 0.12 * coarse + self.grain[0] * 0.22 * (0.5 - net.abs()) + 0.04 * fine;
                // The disc has capillaries of its own, but few in its cup, and takes up dye.
                let base = t.green
                    * (1.0 + mesh)
                    * (1.0 + t.choroid * choroid)
                    * (1.0 + (0.7 - 0.9 * disc.cup) * disc.plate)
                    + (0.13 - 0.05 * disc.cup) * disc.plate * self.gathered
                    + 0.32 * bright
                    + 0.32 * pool;
                let base = base * (1.0 - 0.85 * scar);
                let v = (base + 0.80 * artery.max(0.95 * vein)) * (1.0 - 0.85 * dark);
                [v, v]
            }
            Modality::Icg => {
                let base = (t.green * (1.0 + 0.10 * grain) + 0.26 * choroid * t.choroid)
                    * (1.0 - 0.75 * disc.plate)
                    * (1.0 - 0.5 * scar);
                let v = (base + 0.30 * artery.max(vein)) * (1.0 - 0.5 * dark);
                [v, v]
            }
            Modality::Faf => {
                let base = t.green
                    * (1.0 + 0.14 * grain)
                    * (1.0 - 0.93 * disc.plate)
                    * (1.0 - 0.5 * disc.crescent)
                    * (1.0 + t.choroid * choroid)
                    * (1.0 - 0.8 * scar);
                let v = base
                    * (1.0 - 0.74 * artery)
                    * (1.0 - 0.84 * vein)
                    * (1.0 - 0.8 * dark)
                    * (1.0 + 0.3 * bright);
                [v, v]
            }
            Modality::Infrared => {
                let base = (0.5 * t.red + 0.25) * (1.0 + 0.05 * grain)
                    + 0.10 * choroid * t.choroid
                    + 0.1 * disc.plate;
                let v = (base + 0.1 * bright)
                    * (1.0 - 0.18 * artery)
                    * (1.0 - 0.30 * vein)
                    * (1.0 - 0.3 * dark.max(scar));
                [v, v]
            }
            Modality::Colour | Modality::Red | Modality::Green => {
                let red = t.red * (1.0 + 0.08 * grain) + 0.28 * choroid * t.choroid;
                // Green light hardly comes through the pigment to the choroid and back.
                let green = t.green * (1.0 + 0.12 * grain) * (1.0 - 0.08 * choroid * t.choroid);
                // The white of the eye comes through where the pigment ends before the disc does.
                let (red, green) =
                    (red + (0.74 - red) * 0.6 * disc.crescent, green + (0.52 - green) * 0.6 * disc.crescent);
                let pale = 1.0 + 0.10 * coarse;
                let red = red + ((0.80 + 0.18 * disc.cup) * pale - red) * disc.plate;
                let green = green + ((0.70 + 0.26 * disc.cup) * pale - green) * disc.plate;
                let (red, green) = (red + (0.64 - red) * 0.7 * bright, green + (0.78 - green) * 0.8 * bright);
                let (red, green) = (red * (1.0 - 0.55 * scar), green * (1.0 - 0.75 * scar));
                let (red, green) = (red * (1.0 - 0.5 * dark), green * (1.0 - 0.88 * dark));
                let [a, v] = [blood::ARTERY.passes(artery), blood::VEIN.passes(vein)];
                [red * a[0] * v[0], green * a[1] * v[1]]
            }
        }
    }

    /// What of the disc lies here.
    #[allow(clippy::cast_possible_truncation)] // unit vectors
    fn disc(&self, p: [f32; 3]) -> Head {
        let d = self.eye.disc.xyz().map(|c| c as f32);
        if p[0] * d[0] + p[1] * d[1] + p[2] * d[2] < 0.98 {
            return Head::default();
        }
        // Near the disc the sphere is flat enough for two coordinates along its surface.
        let right = [d[2], 0.0, -d[0]];
        let n = (right[0] * right[0] + right[2] * right[2]).sqrt();
        let across = (p[0] * right[0] + p[2] * right[2]) / n;
        let up = [-right[2] * d[1] / n, (right[2] * d[0] - right[0] * d[2]).abs() / n, right[0] * d[1] / n];
        let upwards = (p[0] - d[0]) * up[0] + (p[1] - d[1]) * up[1] + (p[2] - d[2]) * up[2];
        let [a, b] = self.eye.disc_half.map(|h| h as f32);
        let looks = &self.eye.looks;
        let (x, y) = (across / a, upwards / b);
        let wobble = 1.0 + 0.06 * flat(x * 2.0, y * 2.0, looks.noise ^ 9);
        let off = x.hypot(y) * wobble;
        let temporal = if self.eye.eye == Eye::R { -1.0 } else { 1.0 };
        // The cup lies towards the temple, with a steep wall on the nasal side, and its form is not the disc's.
        let (u, v) = (x * temporal - 0.12, y * (1.0 + 0.25 * flat(x * 1.5, y * 1.5, looks.noise ^ 19)));
        let wall = 0.22 + 0.12 * u / u.hypot(v).max(1e-6);
        let cup = 1.0 - ramp(looks.cup - wall, looks.cup + wall, u.hypot(v) * wobble);
        let (s, c) = looks.crescent[1].sin_cos();
        let beyond = (x * temporal - looks.crescent[0] * c).hypot(y - looks.crescent[0] * s) * wobble;
        Head {
            plate: 1.0 - ramp(1.0 - looks.rim, 1.0 + looks.rim, off),
            cup,
            crescent: if looks.crescent[0] > 0.0 { 1.0 - ramp(0.94, 1.10, beyond) } else { 0.0 },
        }
    }
}

/// How much of the head of the optic nerve lies at a place, each 0 to 1.
#[derive(Debug, Clone, Copy, Default)]
struct Head {
    plate: f32,
    cup: f32,
    crescent: f32,
}

impl Grid {
    fn new(eye: &Eyeball, optics: &Optics, modality: Modality, dye: Option<&Moment<'_>>) -> Self {
        let step = (optics.size / 300).max(2);
        let side = optics.size.div_ceil(step) as usize + 2;
        let rows = optics.height.div_ceil(step) as usize + 2;
        let points = (0..side * rows)
            .into_par_iter()
            .map(|i| {
                #[allow(clippy::cast_possible_truncation)] // picture sides
                let (x, y) = ((i % side) as u32 * step, (i / side) as u32 * step);
                let pose = optics.pose(x.min(optics.size - 1), y.min(optics.height - 1));
                let d = pose.apply(optics.view.to_direction([f64::from(x), f64::from(y)]));
                #[allow(clippy::cast_possible_truncation)] // unit vectors
                let p = d.xyz().map(|c| c as f32);
                match (modality, dye) {
                    (Modality::Fa, Some(dye)) => tissue::fluorescein(eye, p, dye),
                    (Modality::Icg, Some(dye)) => tissue::indocyanine(eye, p, dye),
                    (Modality::Faf, _) => tissue::autofluorescence(eye, p),
                    _ => tissue::reflectance(eye, p),
                }
            })
            .collect();
        #[allow(clippy::cast_precision_loss)] // picture sides
        let columns = (0..optics.size)
            .map(|x| ((x / step) as usize, ((x % step) as f32 + 0.5) / step as f32))
            .collect();
        Self { step, side, points, columns }
    }

    /// The grid's points along one row of the picture.
    #[allow(clippy::cast_precision_loss)] // picture sides
    fn row(&self, y: u32, out: &mut Vec<Tissue>) {
        let t = ((y % self.step) as f32 + 0.5) / self.step as f32;
        let above = &self.points[(y / self.step) as usize * self.side..];
        out.clear();
        out.extend(above[..self.side].iter().zip(&above[self.side..]).map(|(a, b)| a.mix(*b, t)));
    }
}

/// From the retina to strokes on the picture.
pub(crate) struct Projector<'a> {
    optics: &'a Optics,
    /// From the retinal frame to the view frame.
    back: [[f32; 3]; 3],
    /// Pixels a radian at the picture's centre.
    pub scale: f32,
}

impl<'a> Projector<'a> {
    pub fn new(optics: &'a Optics, to_retina: Rotation) -> Self {
        #[allow(clippy::cast_possible_truncation)] // pixels
        let scale = (1.0 / optics.view.pixel()) as f32;
        Self { optics, back: single(to_retina.inverse()), scale }
    }

    /// Place in the picture, and how much larger than at the centre things are drawn there. `None` far behind.
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // picture sides
    pub fn place(&self, p: [f32; 3]) -> Option<([f32; 2], f32)> {
        let v = self.back.map(|r| r[0] * p[0] + r[1] * p[1] + r[2] * p[2]);
        let view = self.optics.view;
        let (k, stretch) = if view.even {
            let z = f64::from(v[2]);
            (view.lay(z) as f32, view.stretch(z) as f32)
        } else {
            let k = 2.0 / (1.0 + v[2]);
            (k, k)
        };
        let (half, middle) = (self.optics.size as f32 / 2.0, self.optics.height as f32 / 2.0);
        (v[2] > -0.75).then(|| ([half + k * v[0] * self.scale, middle - k * v[1] * self.scale], stretch))
    }

    pub fn tree(
        &self,
        tree: &Tree,
        clip: &Clip,
        canvas: &mut Canvas,
        depth: impl Fn(f32) -> f32,
        look: impl Fn(usize) -> (f32, f32),
    ) {
        let places: Vec<_> = tree.points.iter().map(|p| self.place(*p)).collect();
        for i in 0..tree.points.len() {
            let a = tree.parent[i] as usize;
            let before = tree.parent[a] as usize;
            let after = tree.next[i] as usize;
            if a == i {
                continue;
            }
            let (Some(p0), Some(p1), Some(p2), Some(p3)) =
                (places[before], places[a], places[i], places[after])
            else {
                continue;
            };
            // A side branch starts with its own width.
            let own = if tree.next[a] as usize == i { tree.half[a] } else { tree.half[i] };
            let half = [own * p1.1 * self.scale, tree.half[i] * p2.1 * self.scale];
            let (strength, rim) = look(i);
            if strength > 1e-3 {
                let brush = (strength * depth(tree.half[i]), rim);
                curve([p0.0, p1.0, p2.0, p3.0], half, brush, clip, canvas);
            }
        }
    }

    fn strand(&self, strand: &Strand, clip: &Clip, canvas: &mut Canvas) {
        let half = strand.half;
        let places: Vec<_> = strand.points.iter().map(|p| self.place(*p)).collect();
        let last = places.len().saturating_sub(1);
        for i in 0..last {
            let (Some(p0), Some(p1), Some(p2), Some(p3)) =
                (places[i.saturating_sub(1)], places[i], places[i + 1], places[(i + 2).min(last)])
            else {
                continue;
            };
            #[allow(clippy::cast_precision_loss)] // some tens
            let width = |k: usize| half[0] + (half[1] - half[0]) * k as f32 / last as f32;
            let half = [width(i) * p1.1 * self.scale, width(i + 1) * p2.1 * self.scale];
            // Strands come up out of the depth where they begin, and go back into it where they end but for those that join another.
            #[allow(clippy::cast_precision_loss)] // some tens
            let depth = strand.strength
                * ramp(0.0, 6.0, i as f32)
                * if strand.joins { 1.0 } else { ramp(0.0, 7.0, (last - i) as f32) };
            curve([p0.0, p1.0, p2.0, p3.0], half, (depth, -0.3), clip, canvas);
        }
    }
}

/// Paint and rim of a vessel that holds this much dye in its middle and along its wall. It shines with the depth of
/// the column, so a well mixed one is brightest in the middle.
fn filled([middle, wall]: [f32; 2]) -> (f32, f32) {
    let (a, b) = (1.22 * middle, 0.78 * wall);
    let strength = 0.5 * (a + b);
    (strength.min(1.3), if strength > 1e-4 { (b - a) / strength } else { 0.0 })
}

/// A thin vessel is paler: about with some power of its calibre, 0.6 for dye and 1.7 for absorption
/// (which the light passes twice), 1 from 40 µm of half calibre on (judgement).
fn absorption(half: f32, power: f32) -> f32 {
    (half / 0.0033).min(1.0).powf(power)
}

/// Adds the middle piece of a Catmull-Rom curve through four points as short strokes.
fn curve(p: [[f32; 2]; 4], half: [f32; 2], (strength, rim): (f32, f32), clip: &Clip, canvas: &mut Canvas) {
    let length = (p[2][0] - p[1][0]).hypot(p[2][1] - p[1][1]);
    let pieces = (length / 5.0).ceil().clamp(1.0, 6.0);
    let at = |t: f32| {
        [0, 1].map(|k: usize| {
            let (a, b, c, d) = (p[0][k], p[1][k], p[2][k], p[3][k]);
            0.5 * (2.0 * b
                + (c - a) * t
                + (2.0 * a - 5.0 * b + 4.0 * c - d) * t * t
                + (3.0 * b - a - 3.0 * c + d) * t * t * t)
        })
    };
    let width = |t: f32| half[0] + (half[1] - half[0]) * t;
    let mut k = 0.0;
    while k < pieces {
        let (t, u) = (k / pieces, (k + 1.0) / pieces);
        canvas.push(Stroke { a: at(t), b: at(u), half: [width(t), width(u)], strength, rim }, clip);
        k += 1.0;
    }
}
