use crate::choroid::{self, Strand};
use crate::health::{self, Condition, Health, Lesion};
use crate::params::ParamError;
use crate::vessels::{self, Tree};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use serrata_eye::{Direction, RetinalPoint};
use serrata_words::{Eye, EyeTruth, LesionTruth};

/// A simulated eye: everything in its retinal frame (+z fovea, +x 3 o'clock as the observer sees it).
#[derive(Debug, Clone)]
pub struct Eyeball {
    pub(crate) seed: u64,
    pub(crate) eye: Eye,
    pub(crate) axial_length_mm: f64,
    pub(crate) disc: Direction,
    /// Half axes of the disc, radians, along the horizontal and the vertical.
    pub(crate) disc_half: [f64; 2],
    pub(crate) arteries: Tree,
    pub(crate) veins: Tree,
    pub(crate) strands: Vec<Strand>,
    pub(crate) ampullae: Vec<Direction>,
    pub(crate) looks: Looks,
    pub(crate) lesions: Vec<Lesion>,
    pub(crate) visit: u32,
    /// Vitreous haze and cataract, 0 to 1.
    pub(crate) media: [f64; 2],
}

/// What makes one fundus look unlike another.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Looks {
    /// Seed of the pigment's noise.
    pub noise: u32,
    /// How much pigment hides the choroid, 0 to 1.
    pub pigment: f32,
    /// Level of the red and of the green channel, about 1.
    pub red: f32,
    /// Level of the green channel, about 1.
    pub green: f32,
    /// Cup of the disc as a share of its half axes.
    pub cup: f32,
    /// Softness of the disc's rim as a share of its half axes.
    pub rim: f32,
    /// The pale crescent beside the disc: how far it reaches beyond it as a share of the half axes, 0 for none, and where, radians from
    /// the temporal side.
    pub crescent: [f32; 2],
    /// Half-angle of the ora serrata about its own pole, radians.
    pub ora: f32,
}

/// Draws from a normal distribution cut to ± 2.5 standard deviations.
pub(crate) fn draw(rng: &mut Pcg64Mcg, mean: f64, sd: f64) -> f64 {
    // A positive finite standard deviation always makes a distribution.
    Normal::new(mean, sd).map_or(mean, |n| n.sample(rng).clamp(mean - 2.5 * sd, mean + 2.5 * sd))
}

impl Eyeball {
    /// Grows one eye of a patient. The same seed and eye give the same eye; the fellow eyes of a seed share axial
    /// length and pigment and differ otherwise, as fellow eyes do.
    ///
    /// * axial length 24.5 ± 1.57 mm (Nagra et al., J Anat 2017;231:319), here cut to 22 to 27 mm;
    /// * fovea from the disc's centre 4.76 ± 0.34 mm along the sphere (Jonas et al., PLoS One 2015 e0138701), the
    ///   fovea 5.6 ± 3.3° below the horizontal (Rohrschneider, IOVS 2004;45:3257);
    /// * disc 1.75 × 1.95 mm (Optom Vis Sci 1992;69:369), spread by 7 % (judgement);
    /// * ora serrata: a cap of 108.9° (implied by Nagra et al.: 1363 mm² of retina), its pole between fovea and disc;
    /// * vessels: see the functions that grow them; calibres after Murray's law.
    #[must_use]
    pub fn grow(seed: u64, eye: Eye) -> Self {
        Self::build(seed, eye, &Health::default())
    }

    /// Grows an eye with conditions, or the same eye at a later visit.
    ///
    /// ```
    /// use serrata_phantom::{Condition, Eyeball, Health};
    /// use serrata_words::{Eye, LesionKind};
    /// let drusen = Condition::Marks { kind: LesionKind::Drusen, count: 20 };
    /// let mut health = Health { conditions: vec![drusen], new_marks: 3, ..Health::default() };
    /// assert_eq!(Eyeball::grow_with(5, Eye::R, &health)?.truth().lesions.len(), 20);
    /// health.visit = 2;
    /// assert_eq!(Eyeball::grow_with(5, Eye::R, &health)?.truth().lesions.len(), 26);
    /// health.axial_length_mm = Some(-3.0);
    /// assert!(Eyeball::grow_with(5, Eye::R, &health).is_err());
    /// # Ok::<(), serrata_phantom::ParamError>(())
    /// ```
    ///
    /// # Errors
    /// A parameter out of its range, with its name and range.
    pub fn grow_with(seed: u64, eye: Eye, health: &Health) -> Result<Self, ParamError> {
        health.check()?;
        Ok(Self::build(seed, eye, health))
    }

    fn build(seed: u64, eye: Eye, health: &Health) -> Self {
        let mut shared = Pcg64Mcg::seed_from_u64(seed ^ 0x5e77_a7a0_0000_0001);
        let drawn = draw(&mut shared, 24.5, 1.57).clamp(22.0, 27.0);
        let axial_length_mm = health.axial_length_mm.unwrap_or(drawn);
        let pigment = shared.random_range(0.15..0.95);
        let (red, green) = (shared.random_range(0.9..1.1), shared.random_range(0.88..1.12));
        let mut rng = Pcg64Mcg::seed_from_u64(seed.wrapping_mul(2).wrapping_add(u64::from(eye == Eye::L)));
        let radius = axial_length_mm / 2.0;
        // Everything is grown as a right eye and mirrored at the end where it is a left one.
        let disc = RetinalPoint {
            eccentricity_deg: (draw(&mut rng, 4.76, 0.34) / radius).to_degrees(),
            meridian_deg: draw(&mut rng, 5.6, 3.3),
        };
        let size = draw(&mut rng, 1.0, 0.07);
        let disc_half = [0.875 * size / radius, 0.975 * size / radius];
        let looks = Looks {
            noise: rng.random(),
            pigment,
            red,
            green,
            cup: rng.random_range(0.28..0.5),
            rim: rng.random_range(0.08..0.26),
            // Two eyes of five have one, mostly on the temporal side or below (from memory).
            crescent: [
                if rng.random_bool(0.4) { rng.random_range(0.10..0.45) } else { 0.0 },
                rng.random_range(-1.2..0.7),
            ],
            #[allow(clippy::cast_possible_truncation)] // an angle
            ora: draw(&mut rng, 108.9, 1.5).to_radians() as f32,
        };
        let disc = disc.to_direction();
        let arteries = vessels::grow(&mut rng, disc, radius, vessels::Kind::Artery);
        let veins = vessels::grow(&mut rng, disc, radius, vessels::Kind::Vein);
        let ampullae = choroid::ampullae(&mut rng, disc, radius);
        let strands = choroid::grow(&mut rng, &ampullae, disc, radius);
        let lesions = health::place(health, seed.wrapping_mul(2) ^ u64::from(eye == Eye::L), radius);
        let media = health.conditions.iter().fold([0.0; 2], |[h, k]: [f64; 2], c| match *c {
            Condition::VitreousHaze { strength } => [h.max(strength), k],
            Condition::Cataract { strength } => [h, k.max(strength)],
            _ => [h, k],
        });
        let visit = health.visit;
        let mut it = Self {
            lesions,
            visit,
            media,
            seed,
            eye,
            axial_length_mm,
            disc,
            disc_half,
            arteries,
            veins,
            strands,
            ampullae,
            looks,
        };
        if eye == Eye::L {
            it.mirror();
        }
        it
    }

    fn mirror(&mut self) {
        let flip = |d: &mut Direction| {
            let [x, y, z] = d.xyz();
            if let Some(m) = Direction::new([-x, y, z]) {
                *d = m;
            }
        };
        flip(&mut self.disc);
        self.ampullae.iter_mut().for_each(flip);
        let trees = [&mut self.arteries, &mut self.veins].into_iter().flat_map(|t| &mut t.points);
        let strands = self.strands.iter_mut().flat_map(|s| &mut s.points);
        let lesions = self.lesions.iter_mut().map(|l| &mut l.at);
        for p in trees.chain(strands).chain(lesions) {
            p[0] = -p[0];
        }
    }

    /// Axial length in mm; the sphere's radius is half of it.
    #[must_use]
    pub const fn axial_length_mm(&self) -> f64 {
        self.axial_length_mm
    }

    /// The disc's centre in the retinal frame.
    #[must_use]
    pub fn disc(&self) -> RetinalPoint {
        RetinalPoint::from_direction(self.disc)
    }

    /// What this eye really is and has, `serrata.eye_truth/1`.
    #[must_use]
    pub fn truth(&self) -> EyeTruth {
        let disc = self.disc();
        EyeTruth {
            schema: EyeTruth::SCHEMA.to_owned(),
            seed: self.seed,
            eye: self.eye,
            visit: self.visit,
            axial_length_mm: self.axial_length_mm,
            disc_eccentricity_deg: disc.eccentricity_deg,
            disc_meridian_deg: disc.meridian_deg,
            ampullae: self.ampullae().iter().map(|a| [a.eccentricity_deg, a.meridian_deg]).collect(),
            lesions: self.lesion_truth(),
        }
    }

    pub(crate) fn lesion_truth(&self) -> Vec<LesionTruth> {
        self.lesions.iter().map(|l| l.truth(self.axial_length_mm / 2.0)).collect()
    }

    /// The vortex ampullae in the retinal frame: the mark of the equator.
    #[must_use]
    pub fn ampullae(&self) -> Vec<RetinalPoint> {
        self.ampullae.iter().map(|a| RetinalPoint::from_direction(*a)).collect()
    }
}
