use super::index::{Seen, index};
use super::{filled, look};
use crate::area;
use crate::geometry;
use serrata_assemble::Lens;
use serrata_dye::{Proposed, Run, Shot, analyse, dark_places, late_brightening, unfilled};
use serrata_eye::{EyeAxis, Picture, Radius, Stereographic};
use serrata_frame::{Frame, PixelsError, Plane};
use serrata_words::{
    DyeLine, DyeLook, DyePhase, DyeRegion, Eye, Gaze, Instrument, Modality, Observation, Region,
};

/// Frames of one eye's dye run, made small one by one.
#[derive(Debug, Default)]
pub struct Series {
    shots: Vec<Shot>,
    /// Projection of each frame as it was.
    pictures: Vec<(Option<Picture>, Eye, Gaze)>,
    looks: Vec<Option<DyeLook>>,
}

/// A region that a person drew: its name, and its outline in pixels of the reference frame.
pub type Drawn = (String, Vec<[f64; 2]>);

/// A run as words, with pictures of its phases.
#[derive(Debug)]
pub struct Told {
    /// Times, curves, phases, regions.
    pub line: DyeLine,
    /// The frame in the middle of each phase, in the reference's pixels, all stretched alike: 0 to 1.
    pub phases: Vec<(DyePhase, f64, Plane)>,
}

/// How a frame was taken, where known.
#[derive(Debug, Clone, Copy)]
pub struct Taken<'a> {
    /// Fluorescein or indocyanine green.
    pub modality: Modality,
    /// Which eye; right where nobody says, which only the interval of an area feels.
    pub eye: Option<Eye>,
    /// Seconds since the injection.
    pub seconds: Option<f64>,
    /// The profile that names the projection.
    pub instrument: Option<&'a Instrument>,
    /// The centre pixel's view angle as a person gave it, degrees.
    pub degrees: Option<f64>,
}

impl Series {
    /// Adds a frame; it is not needed afterwards.
    ///
    /// # Errors
    /// Never in practice: where its small picture cannot be made.
    pub fn add(&mut self, name: String, frame: &Frame, taken: Taken<'_>) -> Result<(), PixelsError> {
        let (w, h) = (frame.pixels.width(), frame.pixels.height());
        let given = taken.degrees.map(|d| Stereographic { width: w, height: h, deg_per_px: [d, d] });
        let known =
            given.map(Picture::from).or_else(|| area::projection(&frame.facts, taken.instrument, w, h));
        let lens = given
            .or_else(|| {
                frame.facts.centre_view_angle_deg.map(|d| Stereographic {
                    width: w,
                    height: h,
                    deg_per_px: d,
                })
            })
            .or_else(|| taken.instrument.and_then(|i| Stereographic::of(i, w, h)))
            .map_or_else(|| Lens::nominal(w, h), Lens::known);
        let shot = Shot::new(name, frame, taken.modality, taken.seconds, lens)?;
        self.looks.push(look(&shot.frame()?));
        self.shots.push(shot);
        let eye = taken.eye.or(frame.facts.eye).unwrap_or(Eye::R);
        self.pictures.push((known, eye, frame.facts.gaze.unwrap_or(Gaze::Primary)));
        Ok(())
    }

    /// How many frames there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.shots.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.shots.is_empty()
    }

    /// The kinds of dye picture among them, fluorescein first.
    #[must_use]
    pub fn dyes(&self) -> Vec<Modality> {
        [Modality::Fa, Modality::Icg]
            .into_iter()
            .filter(|m| self.shots.iter().any(|s| s.modality == *m))
            .collect()
    }

    /// Reads the run of one dye; none where no frame is of it.
    ///
    /// `drawn`: regions by name, outlines in pixels of the reference frame, whose curves are wanted.
    #[must_use]
    pub fn read(&self, dye: Modality, radius: Radius, drawn: &[Drawn]) -> Option<Told> {
        let mut looked: Option<Observation> = None;
        let mut run = analyse(&self.shots, dye, |shot| {
            let seen = serrata_appraise::observe(&shot.frame().ok()?, dye, None);
            let disc = seen.disc.as_ref().map(|d| ([d.x, d.y], d.radius));
            looked = Some(seen);
            disc
        })?;
        let [w, h] = self.shots[run.reference].size();
        let factor = self.shots[run.reference].factor;
        let fovea = looked.as_ref().and_then(|o| o.fovea.as_ref()).map(|f| [f.x, f.y]);
        if let (Some(at), Some(disc)) = (fovea, looked.as_ref().and_then(|o| o.disc.as_ref())) {
            #[allow(clippy::cast_precision_loss)] // pixels
            let off = |k: usize| ((k % w) as f64 + 0.5 - at[0]).hypot((k / w) as f64 + 0.5 - at[1]);
            run.add_curve("fovea", &(0..w * h).map(|k| off(k) < FOVEA * disc.radius).collect::<Vec<bool>>());
        }
        for (name, ring) in drawn {
            let small = ring.iter().map(|p| p.map(|v| v / factor)).collect();
            run.add_curve(name, &filled(&Region { polygons: vec![small], holes: Vec::new() }, w, h));
        }
        let mut line = run.line.clone();
        line.frames.iter_mut().zip(&self.looks).for_each(|(f, look)| f.look = *look);
        if let Some(seen) = looked {
            let visible = filled(&seen.visible_retina.place, w, h);
            let late = late_brightening(&run, &visible).map(|p| (LATE, p));
            // Without seconds there is no run: a frame speaks for itself.
            let dark = if run.planes.is_empty() {
                dark_places(self.shots[run.reference].plane(), &visible)
            } else {
                unfilled(&run, &visible)
            };
            let dark = dark.map(|p| (DARK, p));
            let gradable =
                dark.as_ref().or(late.as_ref()).map(|(_, p)| p.gradable.clone()).unwrap_or_default();
            let found = late.into_iter().chain(dark);
            line.regions = found.flat_map(|(what, p)| self.regions(&run, what, &p, radius, fovea)).collect();
            // Only what is proposed counts, and the fovea, dark in every eye, does not.
            let mask = |what: &str| -> Vec<bool> {
                let mut all = vec![false; w * h];
                for r in line.regions.iter().filter(|r| r.what == what && r.note.is_none()) {
                    let small = |rings: &[Vec<[f64; 2]>]| -> Vec<Vec<[f64; 2]>> {
                        rings.iter().map(|r| r.iter().map(|p| p.map(|v| v / factor)).collect()).collect()
                    };
                    let region = Region { polygons: small(&r.polygons), holes: small(&r.holes) };
                    all.iter_mut().zip(filled(&region, w, h)).for_each(|(a, i)| *a |= i);
                }
                all
            };
            let (late_mask, dark_mask) = (mask(LATE), mask(DARK));
            let shot = &self.shots[run.reference];
            let parts = Seen {
                width: w,
                gradable: &gradable,
                dark: &dark_mask,
                late: &late_mask,
                disc: seen.disc.as_ref(),
                fovea,
                projection: shot.projection(),
            };
            line.index = index(&parts, &line.regions, DARK, self.pictures[run.reference].0.is_some());
        }
        Some(Told { phases: phases(&run), line })
    }

    fn regions(
        &self,
        run: &Run,
        what: &str,
        p: &Proposed,
        radius: Radius,
        fovea: Option<[f64; 2]>,
    ) -> Vec<DyeRegion> {
        let factor = self.shots[run.reference].factor;
        let (picture, eye, gaze) = &self.pictures[run.reference];
        let [w, h] = p.size;
        let cells: Vec<bool> = p.score.iter().map(|s| *s >= 0.5).collect();
        let all = serrata_appraise::outline_of(&cells, w, factor);
        #[allow(clippy::cast_precision_loss)] // counts of pixels
        let gradable = p.gradable.iter().filter(|g| **g).count() as f64 * factor * factor;
        let holes = &all.holes;
        let one = |ring: Vec<[f64; 2]>| {
            // A hole belongs to the ring that it lies in; rings of one mask do not lie in each other but through a hole.
            let alone = Region { polygons: vec![ring.clone()], holes: Vec::new() };
            let small = |rings: &[Vec<[f64; 2]>]| -> Vec<Vec<[f64; 2]>> {
                rings.iter().map(|r| r.iter().map(|q| q.map(|v| v / factor)).collect()).collect()
            };
            let around = filled(&Region { polygons: small(&alone.polygons), holes: Vec::new() }, w, h);
            let within = |hole: &&Vec<[f64; 2]>| {
                let mine = filled(&Region { polygons: small(&[(*hole).clone()]), holes: Vec::new() }, w, h);
                mine.iter().zip(&around).any(|(m, a)| *m && *a)
            };
            let whole = alone.flat_area();
            let area =
                |ring: &Vec<[f64; 2]>| Region { polygons: vec![ring.clone()], holes: Vec::new() }.flat_area();
            // Vessels that cross what is unfilled are part of it.
            let counts = |hole: &&Vec<[f64; 2]>| what != DARK || area(hole) > ISLAND * whole;
            let region = Region {
                polygons: alone.polygons,
                holes: holes.iter().filter(counts).filter(within).cloned().collect(),
            };
            let flat = region.flat_area();
            if flat < LEAST_PX * factor * factor {
                return None;
            }
            let inside =
                filled(&Region { polygons: small(&region.polygons), holes: small(&region.holes) }, w, h);
            let scores: Vec<f32> =
                inside.iter().zip(&p.score).filter(|(i, _)| **i).map(|(_, s)| *s).collect();
            #[allow(clippy::cast_precision_loss)] // counts of pixels
            let score = scores.iter().map(|s| f64::from(*s)).sum::<f64>() / scores.len().max(1) as f64;
            let axis = EyeAxis::of(*gaze, Some(*eye));
            let measure = picture.as_ref().and_then(|k| area::area_of(&region, k, radius, axis).ok());
            let edge: f64 = region.polygons.iter().chain(&region.holes).map(|r| around_px(r)).sum();
            let unsure = EDGE_PX * factor * edge / flat;
            // An area that may be nothing is no proposal.
            if unsure >= 1.0 {
                return None;
            }
            let interval = measure.as_ref().map(|m| {
                let [low, high] = m.interval.map(|v| (v - m.value).hypot(unsure * m.value));
                [(m.value - low).max(0.0), m.value + high].map(serrata_words::round::six_digits)
            });
            Some(DyeRegion {
                what: what.to_owned(),
                polygons: region.polygons.clone(),
                holes: region.holes.clone(),
                score,
                area_mm2: measure.as_ref().map(|m| serrata_words::round::six_digits(m.value)),
                area_interval_mm2: interval,
                share_of_gradable: flat / gradable.max(1.0),
                note: fovea
                    .filter(|f| what == DARK && inside[pixel(*f, w, h)])
                    .map(|_| "it holds the fovea, which is dark in every eye".to_owned()),
            })
        };
        all.polygons.into_iter().filter_map(one).collect()
    }
}

/// What regions are called until a named person accepts them.
const LATE: &str = "late brightening, proposed";
const DARK: &str = "dark, unfilled, proposed";

/// An island within a dark region below this share of it is taken for vessels that cross it (judgement).
const ISLAND: f64 = 0.1;

/// Radius of the fovea's curve as a share of the disc's radius (judgement).
const FOVEA: f64 = 0.4;

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // pixels
fn pixel([x, y]: [f64; 2], w: usize, h: usize) -> usize {
    (y.max(0.0) as usize).min(h.saturating_sub(1)) * w + (x.max(0.0) as usize).min(w.saturating_sub(1))
}

/// Smallest region that is proposed, pixels of the small picture (judgement: less is noise).
const LEAST_PX: f64 = 30.0;

/// How far an outline that is proposed may lie from where it belongs, pixels of the small picture (95 %; judgement, held
/// against simulated runs).
const EDGE_PX: f64 = 1.2;

/// Length of a ring, pixels.
fn around_px(ring: &[[f64; 2]]) -> f64 {
    let next = ring.iter().cycle().skip(1);
    ring.iter().zip(next).map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).sum()
}

/// One frame of each phase, the middle one in time, all stretched by the same two levels.
fn phases(run: &Run) -> Vec<(DyePhase, f64, Plane)> {
    let of = |i: usize| run.line.frames[i].phase.zip(run.line.frames[i].seconds);
    let mut groups: Vec<(DyePhase, Vec<(f64, &Plane)>)> = Vec::new();
    for (i, plane) in &run.planes {
        let Some((phase, t)) = of(*i) else { continue };
        match groups.iter_mut().find(|g| g.0 == phase) {
            Some(g) => g.1.push((t, plane)),
            None => groups.push((phase, vec![(t, plane)])),
        }
    }
    let chosen: Vec<(DyePhase, f64, &Plane)> =
        groups.iter().map(|(p, all)| (*p, all[all.len() / 2].0, all[all.len() / 2].1)).collect();
    let mut levels: Vec<f32> =
        chosen.iter().flat_map(|c| c.2.data.iter().copied().step_by(7)).filter(|v| v.is_finite()).collect();
    levels.sort_by(f32::total_cmp);
    let top =
        levels.get(levels.len().saturating_sub(1 + levels.len() / 200)).copied().unwrap_or(1.0).max(1e-3);
    let stretched = |p: &Plane| {
        let data = p.data.iter().map(|v| if v.is_finite() { (v / top).clamp(0.0, 1.0).sqrt() } else { 0.0 });
        Plane { width: p.width, height: p.height, data: data.collect() }
    };
    chosen.into_iter().map(|(p, t, plane)| (p, t, stretched(plane))).collect()
}

/// The radius that areas stand on: as given, else the population's.
///
/// # Errors
/// [`geometry::GeometryError`] for a length that no eye has.
pub fn radius(axial_length_mm: Option<f64>) -> Result<Radius, geometry::GeometryError> {
    let given = geometry::Given { axial_length_mm, ..geometry::Given::default() };
    geometry::radius(&serrata_words::AcquisitionFacts::default(), &given)
}
