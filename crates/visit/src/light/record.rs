use super::icnirp::{c_b, laser_limit};
use super::iso::{GROUP1_A_UW_CM2, GROUP1_R_W_CM2, weight_a, weight_r};
use serrata_words::{EyeState, Instrument, Modality, PersonState};

/// What every light record says beside its numbers.
pub const ASSUMPTIONS: [&str; 6] = [
    "Assumes a healthy adult eye with a pupil of 7 mm; powers and field are the profile's, as its maker gave them.",
    "Light counted as spread evenly over the field; the dwell of a scanned beam is not covered.",
    "Only the frames that arrived are counted: light for focusing and previews is not.",
    "Limits: ISO 15004-2:2007 group 1 (its 2024 edition supersedes it) and ICNIRP limits for lasers, whose constants are from memory.",
    "Retinal area on a sphere of radius 11 mm.",
    "A low figure is no leave to go on: as little light as the pictures need.",
];

/// Why there is no figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // the sentences say it
pub enum NoFigure {
    #[error("no figure: the instrument has no profile, or it does not say its field")]
    NoProfile,
    #[error("no figure: the profile does not say which light, and how much, this kind of picture takes")]
    NoPower,
    #[error("no figure: an infant's eye is not what the limits assume")]
    Infant,
    #[error("no figure: an eye without its lens is not what the limits assume")]
    NoLens,
    #[error("no figure: sensitised to light; the clinician decides")]
    Sensitised,
    #[error("no figure: a wavelength outside those that the limits at hand cover")]
    Wavelength,
}

/// The light of one frame.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FrameLight {
    /// Seconds of light.
    pub seconds: f64,
    /// A-weighted retinal irradiance, µW/cm².
    pub a_uw_cm2: f64,
    /// R-weighted retinal irradiance, W/cm².
    pub r_w_cm2: f64,
    /// Share of the ICNIRP photochemical radiance dose of 10⁶ C_B J m⁻² sr⁻¹ that this frame adds.
    pub photochemical: f64,
    /// Share of the ICNIRP thermal limit for an extended source of 100 mrad.
    pub thermal: f64,
}

/// Light of an eye in a visit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LightRecord {
    /// Frames counted.
    pub frames: usize,
    /// Seconds of light in all.
    pub seconds: f64,
    /// Highest A-weighted irradiance of a frame as a share of group 1's.
    pub highest_a: f64,
    /// Highest R-weighted irradiance of a frame as a share of group 1's.
    pub highest_r: f64,
    /// A-weighted radiant exposure in all, J/cm².
    pub a_j_cm2: f64,
    /// Sum of the photochemical shares of ICNIRP's radiance dose.
    pub photochemical: f64,
    /// Highest thermal share of a frame.
    pub highest_thermal: f64,
}

/// Area of a cap of half-angle `half_deg` (eye angle) on a sphere of radius `r_mm`, cm².
/// Example: 8.92284 cm² for 100° on 11 mm (a cap of 200° in all would be more than half the sphere).
#[must_use]
pub fn cap_area_cm2(half_deg: f64, r_mm: f64) -> f64 {
    let r = r_mm / 10.0;
    2.0 * std::f64::consts::PI * r * r * (1.0 - half_deg.to_radians().cos())
}

/// The light of a frame of a kind of picture.
///
/// # Errors
/// [`NoFigure`], and why.
pub fn frame_light(
    modality: Modality,
    instrument: Option<&Instrument>,
    eye: &EyeState,
    person: &PersonState,
) -> Result<FrameLight, NoFigure> {
    if person.infant {
        return Err(NoFigure::Infant);
    }
    if eye.no_lens {
        return Err(NoFigure::NoLens);
    }
    if person.photosensitised {
        return Err(NoFigure::Sensitised);
    }
    let i = instrument.ok_or(NoFigure::NoProfile)?;
    let per_px = i.degrees_per_pixel.ok_or(NoFigure::NoProfile)?;
    // Stereographic: the edge of the shorter side, so that the area is not too large.
    let half_px = f64::from(i.width.min(i.height)) / 2.0;
    let half_deg = 2.0 * (half_px * per_px.to_radians() / 2.0).atan().to_degrees();
    let lasers: Vec<_> = i.lasers.iter().filter(|l| l.kinds.contains(&modality)).collect();
    if lasers.is_empty() || !(half_deg > 0.0 && i.sweep_s > 0.0) {
        return Err(NoFigure::NoPower);
    }
    let mut sum = FrameLight { seconds: i.sweep_s, ..FrameLight::default() };
    for l in lasers {
        let mw = l.mw.filter(|p| *p >= 0.0 && p.is_finite()).ok_or(NoFigure::NoPower)?;
        let one = laser_light(l.nm, mw, half_deg, i.sweep_s).ok_or(NoFigure::Wavelength)?;
        // Simultaneous lasers: sums of fractions, photochemical apart from thermal.
        sum.a_uw_cm2 += one.a_uw_cm2;
        sum.r_w_cm2 += one.r_w_cm2;
        sum.photochemical += one.photochemical;
        sum.thermal += one.thermal;
    }
    Ok(sum)
}

fn laser_light(nm: f64, mw: f64, half_deg: f64, seconds: f64) -> Option<FrameLight> {
    let w_cm2 = mw * 1e-3 / cap_area_cm2(half_deg, 11.0);
    let pupil_m2 = std::f64::consts::PI * 3.5e-3 * 3.5e-3;
    let at_cornea = mw * 1e-3 / pupil_m2;
    // Radiance over a cone of the field; the eye's angle at the sphere's centre is the wider one, so the nodal angle
    // is taken as half of it.
    let cone_sr = 2.0 * std::f64::consts::PI * (1.0 - (half_deg / 2.0).to_radians().cos());
    let dose = at_cornea / cone_sr * seconds;
    let limit = laser_limit(nm, seconds.max(0.25), 100.0)?;
    Some(FrameLight {
        seconds,
        a_uw_cm2: w_cm2 * 1e6 * weight_a(nm)?,
        r_w_cm2: w_cm2 * weight_r(nm)?,
        photochemical: if nm <= 600.0 { dose / (1e6 * c_b(nm)) } else { 0.0 },
        thermal: at_cornea / limit.thermal_w_m2,
    })
}

/// Adds up the light of an eye's frames in a visit.
#[must_use]
pub fn light_record(frames: &[FrameLight]) -> LightRecord {
    frames.iter().fold(LightRecord::default(), |mut r, f| {
        r.frames += 1;
        r.seconds += f.seconds;
        r.highest_a = r.highest_a.max(f.a_uw_cm2 / GROUP1_A_UW_CM2);
        r.highest_r = r.highest_r.max(f.r_w_cm2 / GROUP1_R_W_CM2);
        r.a_j_cm2 += f.a_uw_cm2 * 1e-6 * f.seconds;
        r.photochemical += f.photochemical;
        r.highest_thermal = r.highest_thermal.max(f.thermal);
        r
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_words::{Laser, Projection, SlowAxis};

    fn profile(nm: f64, mw: Option<f64>) -> Instrument {
        Instrument {
            name: "invented".into(),
            source: "invented".into(),
            width: 3600,
            height: 3600,
            projection: Projection::Stereographic,
            degrees_per_pixel: Some(0.074),
            radial: None,
            slow_axis: SlowAxis::Down,
            sweep_s: 0.4,
            gaze_range_deg: None,
            fovea_straight_ahead_deg: None,
            lasers: vec![Laser { name: "one".into(), nm, mw, kinds: vec![Modality::Colour] }],
        }
    }

    fn light(i: Option<&Instrument>, eye: &EyeState, person: &PersonState) -> Result<FrameLight, NoFigure> {
        frame_light(Modality::Colour, i, eye, person)
    }

    /// Worked examples: 0.5 mW spread on a cap of half-angle 100° on R 11 mm (8.92284 cm²).
    #[test]
    fn the_worked_examples_of_a_scanned_field() {
        assert!((cap_area_cm2(100.0, 11.0) - 8.922_84).abs() < 1e-4);
        for (nm, want, share) in [(488.0, 16.363, 0.0744), (532.0, 1.287, 0.0058), (635.0, 0.0560, 0.0003)] {
            let f = laser_light(nm, 0.5, 100.0, 0.4).unwrap();
            assert!((f.a_uw_cm2 / want - 1.0).abs() < 1e-3, "{nm}: {}", f.a_uw_cm2);
            assert!((light_record(&[f]).highest_a - share).abs() < 5e-5);
        }
        let infrared = laser_light(785.0, 1.0, 100.0, 0.4).unwrap();
        assert!((infrared.r_w_cm2 / 7.62e-5 - 1.0).abs() < 1e-3);
    }

    #[test]
    fn no_figure_says_why() {
        let (eye, person) = (EyeState::default(), PersonState::default());
        let p = profile(532.0, Some(0.5));
        assert!(light(Some(&p), &eye, &person).is_ok());
        assert_eq!(light(None, &eye, &person), Err(NoFigure::NoProfile));
        assert_eq!(light(Some(&profile(532.0, None)), &eye, &person), Err(NoFigure::NoPower));
        assert_eq!(light(Some(&profile(420.0, Some(0.5))), &eye, &person), Err(NoFigure::Wavelength));
        assert_eq!(frame_light(Modality::Fa, Some(&p), &eye, &person), Err(NoFigure::NoPower));
        let no_lens = EyeState { no_lens: true, ..EyeState::default() };
        assert_eq!(light(Some(&p), &no_lens, &person), Err(NoFigure::NoLens));
        let infant = PersonState { infant: true, ..PersonState::default() };
        assert_eq!(light(Some(&p), &eye, &infant), Err(NoFigure::Infant));
        let drug = PersonState { photosensitised: true, ..PersonState::default() };
        assert_eq!(light(Some(&p), &eye, &drug), Err(NoFigure::Sensitised));
    }

    #[test]
    fn frames_add_up_and_the_highest_is_kept() {
        let f = laser_light(488.0, 0.5, 100.0, 0.4).unwrap();
        let r = light_record(&[f, f, FrameLight::default()]);
        assert!((r.photochemical - 2.0 * f.photochemical).abs() < 1e-15 && r.frames == 3);
        assert!((r.a_j_cm2 - 2.0 * f.a_uw_cm2 * 0.4e-6).abs() < 1e-15);
    }
}
