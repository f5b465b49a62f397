//! One frame: what was seen, and its picture.

use super::brief::{Judged, Known, views_of};
use super::drawn::{self, Drawn, DrawnMeasure, Ground};
use super::error::ApiError;
use super::types::{Corrections, Frame, FrameGeometry, Trouble};
use crate::area::{self, fill_from};
use crate::picture::jpeg;
use crate::reading::read_frames;
use crate::{Station, geometry};
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serrata_eye::{EyeAxis, Picture, Projection};
use serrata_frame::{DecodeError, Limits};
use serrata_store::{FrameId, KeptFrame, Visit};
use serrata_visit::{Millimetres, advice_for, millimetres};
use serrata_words::appraisal::Source;
use serrata_words::{AppraisalLine, EyeState, Fact, Region};

/// Longest side of a picture on the page, in pixels, where the page asks for none.
const LONGEST: u32 = 1400;

/// One frame with all that was seen.
#[utoipa::path(get, path = "/api/v1/frames/{id}", params(("id" = i64, Path)),
    responses((status = 200, body = Frame), (status = 404, body = super::types::Error)))]
pub async fn frame(State(station): State<Station>, Path(id): Path<i64>) -> Result<Json<Frame>, ApiError> {
    let kept = kept(&station, id).await?;
    let visit = match kept.visit_id {
        Some(v) => station.store().visit(v).await?,
        None => None,
    };
    let judged = judged(&station, kept, visit.as_ref()).await?;
    Ok(Json(Frame {
        schema: "serrata.frame/1",
        brief: judged.brief(),
        patient_name: visit.map(|v| v.person.name.reveal().replace('^', " ").trim().to_owned()),
        error: judged
            .kept
            .failure
            .as_ref()
            .map(|f| Trouble { message: f.message.clone(), remedy: f.remedy.clone() }),
        appraisal: appraisal(&station, &judged),
        geometry: projection(&station, &judged).as_ref().map(told),
        picture: format!("/api/v1/frames/{id}/picture"),
        order: order_of(&station, &judged.kept).await?,
        corrections: {
            let c = &judged.kept.corrections;
            Corrections {
                eye: c.eye.map(|e| e.word().to_owned()),
                modality: c.modality.map(|m| m.word().to_owned()),
                gaze: c.gaze.map(|g| g.word().to_owned()),
            }
        },
    }))
}

/// A frame as it is judged: a verdict depends on the tries before it, so the whole visit is.
async fn judged(station: &Station, kept: KeptFrame, visit: Option<&Visit>) -> Result<Judged, ApiError> {
    if let Some(v) = visit {
        let (_, all) = super::brief::of_visit(station, v).await?;
        if let Some(j) = all.into_iter().find(|j| j.kept.id == kept.id) {
            return Ok(j);
        }
    }
    let seen = station.store().observation(kept.id).await?;
    let views = visit.map(views_of).unwrap_or_default();
    Judged::new(station, kept, seen.as_ref(), visit, &views, &[], &Known::default())
}

/// Where the pixels of a checked frame lie on the sphere.
fn projection(station: &Station, j: &Judged) -> Option<Picture> {
    let seen = j.observation.as_ref()?;
    let instrument = station.instrument_of(j.kept.facts.instrument.as_deref());
    area::projection(&j.kept.facts, instrument, seen.width, seen.height)
}

fn told(picture: &Picture) -> FrameGeometry {
    let (projection, end_deg) = match &picture.projection {
        Projection::Stereographic => ("stereographic", 179.0),
        Projection::Equidistant => ("equidistant", 180.0),
        Projection::EqualArea => ("equal_area", 180.0),
        Projection::Orthographic => ("orthographic", 90.0),
        Projection::Gnomonic => ("gnomonic", 89.0),
        Projection::Radial(p) => ("radial", p.end_deg()),
    };
    FrameGeometry {
        projection,
        size: [picture.width, picture.height],
        degrees_per_pixel: picture.deg_per_px,
        coefficients: match &picture.projection {
            Projection::Radial(p) => p.coefficients().to_vec(),
            _ => Vec::new(),
        },
        end_deg,
    }
}

/// Measures a path, an outline or an angle drawn in a frame.
#[utoipa::path(post, path = "/api/v1/frames/{id}/measure", request_body = Drawn, params(("id" = i64, Path)),
    responses((status = 200, body = DrawnMeasure), (status = 400, body = super::types::Error), (status = 404, body = super::types::Error)))]
pub async fn measure_frame(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(wish): Json<Drawn>,
) -> Result<Json<DrawnMeasure>, ApiError> {
    let kept = kept(&station, id).await?;
    let visit = match kept.visit_id {
        Some(v) => station.store().visit(v).await?,
        None => None,
    };
    let j = judged(&station, kept, visit.as_ref()).await?;
    let Some(seen) = &j.observation else {
        return Err(ApiError::bad(
            j.kept.name,
            "it has not been checked yet",
            "Wait until its result is there",
        ));
    };
    let radius = geometry::radius(&j.kept.facts, &geometry::Given::default())
        .map_err(|e| ApiError::bad(j.kept.name.clone(), e.to_string(), "Correct the axial length"))?;
    let axis = EyeAxis::of(j.view.gaze, j.eye);
    let on = Ground::new(projection(&station, &j), [seen.width, seen.height], radius, axis, &j.state);
    let mut measure = drawn::measured(&wish, &on, "serrata.frame_measure/1")?;
    if leaves(&wish, &seen.visible_retina.place) {
        measure.warnings.push("Part of what is drawn lies where no retina is seen.".to_owned());
    }
    Ok(Json(measure))
}

/// Whether any part of what is drawn lies outside of a region; looked at in steps of a fiftieth of each side.
fn leaves(drawn: &Drawn, region: &Region) -> bool {
    const STEPS: u32 = 50;
    let points = &drawn.points;
    let last = if drawn.closed { points.len() } else { points.len().saturating_sub(1) };
    (0..last).any(|i| {
        let (a, b) = (points[i], points[(i + 1) % points.len()]);
        (0..=STEPS).any(|k| {
            let t = f64::from(k) / f64::from(STEPS);
            !region.contains([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])])
        })
    })
}

/// The order that a person said a frame is for.
async fn order_of(station: &Station, kept: &KeptFrame) -> Result<Option<String>, ApiError> {
    let Some(visit) = kept.visit_id else { return Ok(None) };
    let events = station.store().facts(visit).await?;
    let said = events.into_iter().rev().find_map(|e| match e.fact {
        Fact::OrderCorrected { frame, order } if frame == kept.id.0 => Some(order),
        _ => None,
    });
    Ok(said.flatten())
}

async fn kept(station: &Station, id: i64) -> Result<KeptFrame, ApiError> {
    station
        .store()
        .frame(FrameId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("frame {id}"), "there is no such frame"))
}

/// The appraisal of a frame as a line of `serrata.appraisal/1`; none where it is still to be checked.
pub(super) fn appraisal(station: &Station, j: &Judged) -> Option<AppraisalLine> {
    let (observation, judgement) = (j.observation.as_ref()?, j.judgement.as_ref()?);
    let instrument = station.instrument_of(j.kept.facts.instrument.as_deref());
    let source = Source {
        path: &j.kept.name,
        frame: j.kept.index,
        sha256: &j.kept.sha256,
        labelled: j.kept.eye(),
        instrument: instrument.map(|i| i.name.as_str()),
    };
    let mut line = AppraisalLine::new(&source, &j.view, observation, judgement, |f| advice_for(f, &j.state));
    fill_from(&mut line, &j.kept.facts, instrument);
    crate::gaze::fill(&mut line, &j.kept.facts, instrument);
    for_the_eye(&mut line, &j.state);
    Some(line)
}

/// What the state of the eye does to mm²: none, or less sure.
fn for_the_eye(line: &mut AppraisalLine, state: &EyeState) {
    let v = &mut line.visible_retina;
    match millimetres(state) {
        Millimetres::Given => {}
        Millimetres::None(why) => {
            (v.area_mm2, v.area_interval_mm2, v.radius_mm, v.radius_source) = (None, None, None, None);
            v.uncalibrated = Some(why.to_owned());
        }
        Millimetres::Wider(_) => {
            if let (Some(value), Some([low, high])) = (v.area_mm2, v.area_interval_mm2) {
                v.area_interval_mm2 = Some(drawn::wider(value, [low, high]));
            }
        }
    }
}

/// How large a picture is wanted.
#[derive(Debug, Deserialize)]
pub struct Size {
    longest: Option<u32>,
}

/// The frame's picture as JPEG, at most `longest` pixels on its longer side.
#[utoipa::path(get, path = "/api/v1/frames/{id}/picture",
    params(("id" = i64, Path), ("longest" = Option<u32>, Query)),
    responses((status = 200, description = "the picture", content_type = "image/jpeg"),
        (status = 404, body = super::types::Error), (status = 422, body = super::types::Error)))]
pub async fn picture(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Query(size): Query<Size>,
) -> Result<Response, ApiError> {
    let kept = kept(&station, id).await?;
    let bytes = station.store().read_original(&kept.sha256).await?;
    let longest = size.longest.unwrap_or(LONGEST).clamp(16, 4096);
    let index = kept.index as usize;
    let made = station
        .pixels(move || {
            let frames = read_frames(&bytes, &Limits::default())?;
            let frame = frames.get(index).ok_or(DecodeError::Truncated)?;
            jpeg(frame, longest).map_err(|e| DecodeError::Broken { detail: e.to_string() })
        })
        .await;
    match made {
        Some(Ok(jpeg)) => Ok((
            [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=3600")],
            jpeg,
        )
            .into_response()),
        Some(Err(e)) => {
            let e: DecodeError = e;
            Err(ApiError::new(
                axum::http::StatusCode::UNPROCESSABLE_ENTITY,
                kept.name,
                e.code(),
                e.to_string(),
                e.remedy(),
            ))
        }
        None => Err(ApiError::bad(kept.name, "the picture cannot be drawn", "Open the original elsewhere")),
    }
}
