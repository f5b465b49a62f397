//! Area of the visible retina, where projection and radius can be named.

use serrata_eye::{Radius, RadiusSource, Stereographic, region_area_sr};
use serrata_frame::Frame;
use serrata_words::{AcquisitionFacts, AppraisalLine, Instrument};

/// The projection of a frame: from its own header, else from its instrument's profile, else not known.
#[must_use]
pub fn projection(
    facts: &AcquisitionFacts,
    instrument: Option<&Instrument>,
    width: u32,
    height: u32,
) -> Option<Stereographic> {
    match facts.centre_view_angle_deg {
        Some(deg) if deg.iter().all(|d| d.is_finite() && *d > 0.0) => {
            Some(Stereographic { width, height, deg_per_px: deg })
        }
        _ => instrument
            .filter(|i| (i.width, i.height) == (width, height))
            .and_then(|i| Stereographic::of(i, width, height)),
    }
}

/// Fills in the area in mm² with its interval and its radius, or the reason why there is none.
pub fn fill(line: &mut AppraisalLine, frame: &Frame, instrument: Option<&Instrument>) {
    fill_from(line, &frame.facts, instrument);
}

/// As [`fill`], from the facts alone.
pub fn fill_from(line: &mut AppraisalLine, facts: &AcquisitionFacts, instrument: Option<&Instrument>) {
    let v = &mut line.visible_retina;
    if let Some(problem) = &facts.geometry_problem {
        v.uncalibrated = Some(problem.clone());
        return;
    }
    let Some(projection) = projection(facts, instrument, line.width, line.height) else {
        v.uncalibrated = Some("no projection known".to_owned());
        return;
    };
    let radius = match &facts.axial_length_mm {
        Some((mm, method)) if method != "POPULATION" && *mm > 10.0 && *mm < 45.0 => {
            Radius::from_axial_length(*mm)
        }
        _ => Radius::population(),
    };
    let area = radius.area(region_area_sr(&projection, &v.place));
    v.area_mm2 = Some(area.value);
    v.area_interval_mm2 = Some(area.interval);
    v.radius_mm = Some(radius.mm);
    v.radius_source = Some(
        match radius.source {
            RadiusSource::Population => "population",
            RadiusSource::AxialLength => "measured",
            _ => "given",
        }
        .to_owned(),
    );
    v.uncalibrated = None;
}
