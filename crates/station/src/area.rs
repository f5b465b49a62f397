//! Area of the visible retina, where projection and radius can be named.

use crate::geometry::{self, GeometryError, Given};
use serrata_eye::{EyeAxis, Measure, Picture, RadiusSource, Spread, area_jitter_sr};
use serrata_frame::Frame;
use serrata_words::{AcquisitionFacts, AppraisalLine, Instrument, Region};

/// How sure a point of an outline is, drawn by a person or by the engine: one standard deviation in pixels
/// (judgement).
pub const POINT_SD_PX: f64 = 1.0;

fn given(instrument: Option<&Instrument>) -> Given {
    Given { instrument: instrument.cloned(), ..Given::default() }
}

/// The projection of a frame: from its own header, else from its instrument's profile, else not known.
#[must_use]
pub fn projection(
    facts: &AcquisitionFacts,
    instrument: Option<&Instrument>,
    width: u32,
    height: u32,
) -> Option<Picture> {
    Some(geometry::projection(facts, &given(instrument), width, height).ok()??.0)
}

/// Area of a region of a picture with everything that it assumes; `axis` is where the picture shows the eye's axis.
///
/// # Errors
/// [`serrata_eye::DomainError`] where an edge leaves what the projection shows.
pub fn area_of(
    region: &Region,
    picture: &Picture,
    radius: serrata_eye::Radius,
    axis: EyeAxis,
) -> Result<Measure, serrata_eye::DomainError> {
    let mut variance = 0.0;
    for ring in region.polygons.iter().chain(&region.holes) {
        variance += area_jitter_sr(picture, ring, POINT_SD_PX)?.powi(2);
    }
    let sr = picture.region_sr(region)?;
    Ok(Measure::area(sr, Spread::of_region(picture, region, axis)?, variance.sqrt(), radius))
}

/// Fills in the area in mm² with its interval and its radius, or the reason why there is none.
pub fn fill(line: &mut AppraisalLine, frame: &Frame, instrument: Option<&Instrument>) {
    fill_from(line, &frame.facts, instrument);
}

/// As [`fill`], from the facts alone.
pub fn fill_from(line: &mut AppraisalLine, facts: &AcquisitionFacts, instrument: Option<&Instrument>) {
    // The gaze of the view that it is judged for, unless the header knows better.
    let axis = EyeAxis::of(facts.gaze.unwrap_or(line.view.gaze), line.eye.labelled.or(line.eye.inferred));
    let v = &mut line.visible_retina;
    v.warnings.clear();
    match measured(facts, instrument, line.width, line.height, &v.place, axis) {
        Ok(area) => {
            v.warnings.extend(area.warning().map(str::to_owned));
            v.area_mm2 = Some(area.value);
            v.area_interval_mm2 = Some(area.interval);
            v.radius_mm = Some(area.radius.mm);
            v.radius_source = Some(
                match area.radius.source {
                    RadiusSource::AxialLength => "measured",
                    other => other.word(),
                }
                .to_owned(),
            );
            v.uncalibrated = None;
        }
        Err(why) => v.uncalibrated = Some(why),
    }
}

fn measured(
    facts: &AcquisitionFacts,
    instrument: Option<&Instrument>,
    width: u32,
    height: u32,
    place: &Region,
    axis: EyeAxis,
) -> Result<Measure, String> {
    let given = given(instrument);
    let said = |e: GeometryError| e.to_string();
    let (picture, _) = geometry::projection(facts, &given, width, height)
        .map_err(said)?
        .ok_or_else(|| "no projection known".to_owned())?;
    let radius = geometry::radius(facts, &given).map_err(said)?;
    area_of(place, &picture, radius, axis).map_err(|e| e.to_string())
}
