//! Masks of what a frame shows, at the frame's own size.

use crate::canvas::{BAND, Canvas, Clip, Stroke};
use crate::covers::Covers;
use crate::optics::Optics;
use crate::paint::Projector;
use crate::scene::Scene;
use crate::tissue;
use crate::{Eyeball, truth};
use rayon::prelude::*;
use serrata_words::FindingKind;

/// One mask: 255 where the thing is, 0 elsewhere, row by row, one byte a pixel.
#[derive(Debug, Clone)]
pub struct Mask {
    /// `visible_retina`, `lids`, `lashes`, `arteries`, `veins` or `lesions`.
    pub name: &'static str,
    /// The bytes.
    pub bytes: Vec<u8>,
}

impl Eyeball {
    /// The masks of a frame that [`Eyeball::render`] makes of the same scene. They are those of the projected picture:
    /// a raw frame has none.
    ///
    /// Vessels are told by where they lie, also before dye comes to them and under what covers them.
    #[must_use]
    pub fn masks(&self, scene: &Scene) -> Vec<Mask> {
        if scene.raw {
            return Vec::new();
        }
        let scene = &Scene { seed: self.seed, eye: self.eye, ..scene.clone() };
        let optics = Optics::new(scene);
        let covers = Covers::new(scene, &optics);
        let open = truth::open(self, scene, &optics, &covers);
        let of = |kinds: &[FindingKind]| {
            let cells = 0..covers.cells[0] * covers.cells[1];
            let hit =
                |k: usize| covers.layers.iter().any(|l| kinds.contains(&l.kind) && l.alpha[k] >= l.counts);
            cells.map(hit).collect::<Vec<bool>>()
        };
        let mut lids = enlarge(&covers, &optics, &of(&[FindingKind::Lid, FindingKind::TooClose]));
        let n = optics.size as usize;
        lids.par_chunks_mut(n).enumerate().for_each(|(y, row)| {
            #[allow(clippy::cast_possible_truncation)] // picture sides
            for (x, o) in row.iter_mut().enumerate() {
                if covers.blinked(x as u32, y as u32, optics.sideways) {
                    *o = 255;
                }
            }
        });
        let (arteries, veins, marks) = self.strokes(&optics);
        let mut lesions = drawn(&marks, &optics);
        self.add_regions(&optics, &covers, &mut lesions);
        vec![
            Mask { name: "visible_retina", bytes: enlarge(&covers, &optics, &open.cells) },
            Mask { name: "lids", bytes: lids },
            Mask { name: "lashes", bytes: enlarge(&covers, &optics, &of(&[FindingKind::Lash])) },
            Mask { name: "arteries", bytes: drawn(&arteries, &optics) },
            Mask { name: "veins", bytes: drawn(&veins, &optics) },
            Mask { name: "lesions", bytes: lesions },
        ]
    }

    fn strokes(&self, optics: &Optics) -> (Canvas, Canvas, Canvas) {
        let [mut arteries, mut veins, mut marks] =
            [(); 3].map(|()| Canvas::new(optics.size, optics.height, 1.0));
        for pose in &optics.poses {
            let clip = Clip { rows: pose.rows.clone(), columns: pose.columns.clone() };
            let project = Projector::new(optics, pose.to_retina);
            project.tree(&self.arteries, &clip, &mut arteries, |_| 1.0, |_| (1e3, 0.0));
            project.tree(&self.veins, &clip, &mut veins, |_| 1.0, |_| (1e3, 0.0));
            for l in self.lesions.iter().filter(|l| l.radius < 0.04) {
                if let Some((at, k)) = project.place(l.at) {
                    let half = [l.radius * k * project.scale; 2];
                    marks.push(Stroke { a: at, b: at, half, strength: 1e3, rim: 0.0 }, &clip);
                }
            }
        }
        (arteries, veins, marks)
    }

    /// Regions and other large lesions, on the covers' cells.
    fn add_regions(&self, optics: &Optics, covers: &Covers, out: &mut [u8]) {
        let large: Vec<_> = self.lesions.iter().filter(|l| l.radius >= 0.04).collect();
        if large.is_empty() {
            return;
        }
        let n = covers.cells[0];
        let hit: Vec<bool> = (0..n * covers.cells[1])
            .into_par_iter()
            .map(|k| {
                let [x, y] = truth::middle(optics, covers, k % n, k / n);
                let p = truth::on_eye(optics, x, y);
                large.iter().any(|l| l.inside(p) > 0.5) && tissue::on_retina(self, p) > 0.5
            })
            .collect();
        for (o, v) in out.iter_mut().zip(enlarge(covers, optics, &hit)) {
            *o = (*o).max(v);
        }
    }
}

fn enlarge(covers: &Covers, optics: &Optics, cells: &[bool]) -> Vec<u8> {
    let n = optics.size as usize;
    let mut out = vec![0u8; n * optics.height as usize];
    let f = covers.factor as usize;
    out.par_chunks_mut(n).enumerate().for_each(|(y, row)| {
        let line = &cells[(y / f) * covers.cells[0]..][..covers.cells[0]];
        for (x, o) in row.iter_mut().enumerate() {
            *o = if line[x / f] { 255 } else { 0 };
        }
    });
    out
}

fn drawn(canvas: &Canvas, optics: &Optics) -> Vec<u8> {
    let n = optics.size as usize;
    let mut out = vec![0u8; n * optics.height as usize];
    out.par_chunks_mut(n * BAND as usize).enumerate().for_each(|(b, rows)| {
        let mut plane = vec![0f32; n * BAND as usize];
        canvas.draw(b, &mut plane);
        for (o, v) in rows.iter_mut().zip(&plane) {
            *o = if *v >= 0.5 { 255 } else { 0 };
        }
    });
    out
}
