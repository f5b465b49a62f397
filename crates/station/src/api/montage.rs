//! The montage of an eye: made in the background, drawn, measured, and compared with an earlier visit.

use super::brief::{Judged, of_visit};
use super::drawn::{self, Drawn, DrawnMeasure, Ground};
use super::error::ApiError;
use super::types;
use crate::background::{MONTAGES, State as Stand};
use crate::montage::{self, Made, Marked, Pick, Wanted, carry};
use crate::{Station, geometry};
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serrata_eye::{EyeAxis, Picture, Radius, Stereographic};
use serrata_store::VisitId;
use serrata_visit::{Millimetres, millimetres};
use serrata_words::{Eye, EyeState, Gaze, Modality, Verdict};
use utoipa::ToSchema;

/// A montage and where it stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct Montage {
    /// Always `serrata.montage/1`.
    pub schema: &'static str,
    /// `R` or `L`.
    pub eye: String,
    /// `none` (nobody asked for it), `making`, `made`, `failed`.
    pub state: String,
    /// Frames placed so far, and how many there are, while it is being made.
    pub progress: Option<[usize; 2]>,
    /// Why it failed, and what to do.
    pub problem: Option<String>,
    /// Whether frames came, went or were corrected since it was made.
    pub outdated: bool,
    /// The earlier visit that it is compared with.
    pub with: Option<i64>,
    /// The last visit before this one that it could be compared with.
    pub earlier_visit: Option<i64>,
    /// How many frames would go into it now.
    pub frames_now: usize,
    /// Its frames.
    pub frames: Vec<MontageFrame>,
    /// Its pictures, all on one canvas.
    pub pictures: Vec<MontagePicture>,
    /// Whether degrees, mm and mm² can be told; false: nominal degrees only.
    pub calibrated: bool,
    /// The method that placed the frames, with its revision.
    pub method: Option<String>,
}

/// One frame of a montage.
#[derive(Debug, Serialize, ToSchema)]
pub struct MontageFrame {
    /// The frame.
    pub id: i64,
    /// Whether it is of the earlier visit.
    pub earlier: bool,
    /// Kind of picture.
    pub modality: String,
    /// `placed`, `doubtful` or `not placed`.
    pub status: String,
    /// Why it is not placed.
    pub reason: Option<String>,
    /// Median distance of matched places from where its pose says, degrees at the sphere's centre.
    pub residual_deg: Option<f64>,
    /// 95 % interval of that.
    pub residual_interval_deg: Option<[f64; 2]>,
}

/// One picture of a montage: stereographic, centred on its middle.
#[derive(Debug, Serialize, ToSchema)]
pub struct MontagePicture {
    /// Kind of picture.
    pub modality: String,
    /// `montage` of this visit, `earlier`, or `difference` (later minus earlier: grey is no change).
    pub what: String,
    /// Where it is, as PNG; alpha is the coverage. `?longest=` makes it smaller.
    pub address: String,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// View angle of the centre pixel, degrees.
    pub degrees_per_pixel: f64,
    /// Share of the canvas that is covered.
    pub covered: Option<f64>,
}

/// Which earlier visit a montage is compared with.
#[derive(Debug, Deserialize)]
pub struct With {
    with: Option<i64>,
}

/// What a request is about: one eye of one visit, alone or beside an earlier visit.
struct About {
    visit: serrata_store::Visit,
    eye: Eye,
    with: Option<serrata_store::Visit>,
    wanted: Wanted,
}

async fn about(station: &Station, id: i64, eye: &str, with: Option<i64>) -> Result<About, ApiError> {
    let eye: Eye = eye
        .parse()
        .map_err(|_| ApiError::bad(eye, "an eye is R or L", "Write R or L at the end of the address"))?;
    let get = async |id: i64| {
        let found = station.store().visit(VisitId(id)).await?;
        found.ok_or_else(|| ApiError::not_found(format!("visit {id}"), "there is no such visit"))
    };
    let visit = get(id).await?;
    let with = match with {
        Some(other) => Some(get(other).await?),
        None => None,
    };
    if let Some(other) = &with
        && (other.patient_id != visit.patient_id
            || (other.opened_us, other.id) >= (visit.opened_us, visit.id))
    {
        return Err(ApiError::bad(
            format!("visit {}", other.id),
            "it is no earlier visit of the same patient",
            "Compare with an earlier visit of this patient",
        ));
    }
    let mut picks = Vec::new();
    for (v, earlier) in with.iter().map(|v| (v, true)).chain([(&visit, false)]) {
        let (_, judged) = of_visit(station, v).await?;
        picks.extend(chosen(station, &judged, eye, earlier));
    }
    let name = with.as_ref().map_or_else(|| format!("{id}-{eye}"), |w| format!("{id}-{eye}-with-{}", w.id));
    let wanted = Wanted { folder: station.background().folder(MONTAGES, &name), picks };
    Ok(About { visit, eye, with, wanted })
}

/// The frames of an eye that go into its montage: of each kind and gaze the best one, the last of those that are equal.
fn chosen(station: &Station, judged: &[Judged], eye: Eye, earlier: bool) -> Vec<Pick> {
    let mut best: Vec<(&Judged, Verdict)> = Vec::new();
    for j in judged {
        let Some(verdict) = j.judgement.as_ref().map(|v| v.verdict) else { continue };
        let counts = j.eye == Some(eye) && j.kept.set_aside.is_none() && !j.kept.quarantined;
        if !counts || verdict == Verdict::NotUsable {
            continue;
        }
        let same = |b: &&mut (&Judged, Verdict)| {
            (b.0.view.modality, b.0.view.gaze) == (j.view.modality, j.view.gaze)
        };
        match best.iter_mut().find(same) {
            Some(b) if verdict <= b.1 => *b = (j, verdict),
            Some(_) => {}
            None => best.push((j, verdict)),
        }
    }
    let pick = |(j, _): (&Judged, Verdict)| {
        let k = &j.kept;
        Some(Pick {
            id: k.id.0,
            original: (k.sha256.clone(), k.index as usize),
            name: k.name.clone(),
            modality: j.view.modality,
            gaze: j.view.gaze,
            instrument: station.instrument_of(k.facts.instrument.as_deref()).cloned(),
            observation: j.observation.clone()?,
            earlier,
        })
    };
    best.into_iter().filter_map(pick).collect()
}

async fn told(station: &Station, about: &About) -> Result<Json<Montage>, ApiError> {
    let made = montage::made(&about.wanted.folder);
    let stand = station.background().state(&about.wanted.folder, made.is_some());
    let key = about.wanted.key().unwrap_or_default();
    let earlier = station.store().earlier_visit(about.visit.id).await?;
    let mut out = Montage {
        schema: "serrata.montage/1",
        eye: about.eye.word().to_owned(),
        state: String::new(),
        progress: None,
        problem: None,
        outdated: false,
        with: about.with.as_ref().map(|v| v.id.0),
        earlier_visit: earlier.map(|v| v.id.0),
        frames_now: about.wanted.picks.len(),
        frames: Vec::new(),
        pictures: Vec::new(),
        calibrated: false,
        method: None,
    };
    match stand {
        Stand::None => "none".clone_into(&mut out.state),
        Stand::Making { done, of } => {
            "making".clone_into(&mut out.state);
            out.progress = Some([done, of]);
        }
        Stand::Failed(why) => {
            "failed".clone_into(&mut out.state);
            out.problem = Some(why);
        }
        Stand::Made => "made".clone_into(&mut out.state),
    }
    // What stands is shown while another is made, and where that failed.
    if let Some(made) = made {
        out.outdated = made.key != key;
        out.calibrated = made.assembly.calibrated;
        out.method = Some(format!("{} {}", made.assembly.method.name, made.assembly.method.revision));
        out.frames = frames(&made);
        out.pictures = pictures(&made, about);
    }
    Ok(Json(out))
}

fn frames(made: &Made) -> Vec<MontageFrame> {
    let of = |f: &serrata_words::AssembledFrame| {
        let id: i64 = f.name.parse().ok()?;
        Some(MontageFrame {
            id,
            earlier: made.earlier.contains(&id),
            modality: f.modality.word().to_owned(),
            status: f.status.word().to_owned(),
            reason: f.reason.clone(),
            residual_deg: f.residual_deg,
            residual_interval_deg: f.residual_interval_deg,
        })
    };
    made.assembly.frames.iter().filter_map(of).collect()
}

fn pictures(made: &Made, about: &About) -> Vec<MontagePicture> {
    let with = about.with.as_ref().map_or_else(String::new, |v| format!("&with={}", v.id));
    // The key changes with what is drawn, so that a browser may keep a picture.
    let address = |file: &str| {
        let (visit, eye, key) = (about.visit.id, about.eye, made.key.get(..12).unwrap_or_default());
        format!("/api/v1/visits/{visit}/montage/{eye}/picture?file={file}&key={key}{with}")
    };
    let one = |m: &serrata_words::MosaicLine, what: &str, modality: Modality, file: &str| MontagePicture {
        modality: modality.word().to_owned(),
        what: what.to_owned(),
        address: address(file),
        width: m.size[0],
        height: m.size[1],
        degrees_per_pixel: m.degrees_per_pixel,
        covered: (what != "difference").then_some(m.covered),
    };
    let mosaics = &made.assembly.mosaics;
    let drawn = mosaics.iter().map(|m| {
        let what = if m.file.starts_with("earlier-") { "earlier" } else { "montage" };
        one(m, what, m.modality, &m.file)
    });
    let differences = made.differences.iter().filter_map(|(k, file)| {
        let m = mosaics.iter().find(|m| m.modality == *k)?;
        Some(one(m, "difference", *k, file))
    });
    drawn.chain(differences).collect()
}

/// Where the montage of an eye stands.
#[utoipa::path(get, path = "/api/v1/visits/{id}/montage/{eye}",
    params(("id" = i64, Path), ("eye" = String, Path), ("with" = Option<i64>, Query)),
    responses((status = 200, body = Montage), (status = 404, body = types::Error)))]
pub async fn montage(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(With { with }): Query<With>,
) -> Result<Json<Montage>, ApiError> {
    let about = about(&station, id, &eye, with).await?;
    told(&station, &about).await
}

/// Makes the montage of an eye anew, in the background; with `with` beside that earlier visit.
#[utoipa::path(post, path = "/api/v1/visits/{id}/montage/{eye}",
    params(("id" = i64, Path), ("eye" = String, Path), ("with" = Option<i64>, Query)),
    responses((status = 200, body = Montage), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn make_montage(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(With { with }): Query<With>,
) -> Result<Json<Montage>, ApiError> {
    let about = about(&station, id, &eye, with).await?;
    if about.wanted.picks.iter().all(|p| p.earlier) {
        return Err(ApiError::bad(
            format!("visit {id}"),
            format!("there is no frame of the {} yet that a montage could be made of", about.eye.screen()),
            "Take a frame that is usable first",
        ));
    }
    let (at, wanted) = (station.clone(), about.wanted.clone());
    let runtime = tokio::runtime::Handle::current();
    let begun = station.background().begin(&wanted.folder, wanted.picks.len());
    if let Some(task) = begun {
        std::thread::spawn(move || {
            let original =
                |sha: &str| runtime.block_on(at.store().read_original(sha)).map_err(|e| e.to_string());
            at.background()
                .run(&wanted.folder, task, |hooks| montage::make(&wanted, original, hooks).map(drop));
        });
    }
    told(&station, &about).await
}

/// Which picture, and how large.
#[derive(Debug, Deserialize)]
pub struct Wish {
    file: String,
    with: Option<i64>,
    longest: Option<u32>,
}

fn kept(about: &About) -> Result<Made, ApiError> {
    montage::made(&about.wanted.folder).ok_or_else(|| {
        ApiError::not_found(format!("visit {}", about.visit.id), "its montage has not been made")
    })
}

/// A picture of a montage as PNG; alpha is the coverage.
#[utoipa::path(get, path = "/api/v1/visits/{id}/montage/{eye}/picture",
    params(("id" = i64, Path), ("eye" = String, Path), ("file" = String, Query), ("with" = Option<i64>, Query),
        ("longest" = Option<u32>, Query)),
    responses((status = 200, description = "the picture", content_type = "image/png"),
        (status = 404, body = types::Error)))]
pub async fn montage_picture(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(wish): Query<Wish>,
) -> Result<Response, ApiError> {
    let about = about(&station, id, &eye, wish.with).await?;
    let made = kept(&about)?;
    let known = made.assembly.mosaics.iter().flat_map(|m| [&m.file, &m.provenance]);
    // Only names that the montage itself lists become a path.
    let file = known.chain(made.differences.iter().map(|d| &d.1)).find(|f| **f == wish.file);
    let file =
        file.ok_or_else(|| ApiError::not_found(wish.file.clone(), "the montage has no such picture"))?;
    let path = about.wanted.folder.join(file);
    let lost = |what: String| {
        let remedy = "Make the montage again";
        ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, file.clone(), "unreadable", what, remedy)
    };
    let bytes =
        tokio::fs::read(&path).await.map_err(|e| lost(format!("the picture cannot be read ({e})")))?;
    let bytes = match wish.longest {
        None => bytes,
        Some(longest) => station
            .pixels(move || smaller(bytes, longest.clamp(16, 8192)))
            .await
            .and_then(Result::ok)
            .ok_or_else(|| lost("the picture is broken".to_owned()))?,
    };
    let headers = [(header::CONTENT_TYPE, "image/png"), (header::CACHE_CONTROL, "private, max-age=3600")];
    Ok((headers, bytes).into_response())
}

/// A picture whose longer side is at most `longest`, in 8 bits.
fn smaller(png: Vec<u8>, longest: u32) -> image::ImageResult<Vec<u8>> {
    let picture = image::load_from_memory_with_format(&png, image::ImageFormat::Png)?;
    if picture.width().max(picture.height()) <= longest {
        return Ok(png);
    }
    let small = picture.thumbnail(longest, longest);
    let small = if small.color().has_color() {
        image::DynamicImage::ImageRgba8(small.into_rgba8())
    } else {
        image::DynamicImage::ImageLumaA8(small.into_luma_alpha8())
    };
    let mut out = std::io::Cursor::new(Vec::new());
    small.write_to(&mut out, image::ImageFormat::Png)?;
    Ok(out.into_inner())
}

/// Points of one frame that are wanted in another.
#[derive(Debug, Deserialize, ToSchema)]
pub struct Carry {
    /// The frame that the points are in.
    pub from: i64,
    /// The frame that they are wanted in.
    pub to: i64,
    /// The points, pixels.
    pub points: Vec<[f64; 2]>,
}

/// The points in the other frame.
#[derive(Debug, Serialize, ToSchema)]
pub struct Carried {
    /// Always `serrata.carried/1`.
    pub schema: &'static str,
    /// Pixels of the other frame; null where a point is outside of either.
    pub points: Vec<Option<[f64; 2]>>,
}

/// Carries points from one frame of a montage to another.
#[utoipa::path(post, path = "/api/v1/visits/{id}/montage/{eye}/transfer", request_body = Carry,
    params(("id" = i64, Path), ("eye" = String, Path), ("with" = Option<i64>, Query)),
    responses((status = 200, body = Carried), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn transfer_points(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(With { with }): Query<With>,
    Json(wish): Json<Carry>,
) -> Result<Json<Carried>, ApiError> {
    let about = about(&station, id, &eye, with).await?;
    let made = kept(&about)?;
    let pose = |id: i64| montage::pose(&made.assembly, &id.to_string()).map_err(|e| refused(&e));
    let (from, to) = (pose(wish.from)?, pose(wish.to)?);
    let points = wish.points.iter().map(|p| carry(&from, &to, *p)).collect();
    Ok(Json(Carried { schema: "serrata.carried/1", points }))
}

fn refused(e: &montage::MontageError) -> ApiError {
    ApiError::bad("montage", e.to_string(), "Mend what the sentence says and try again")
}

/// Measures a path or an outline drawn in a montage.
#[utoipa::path(post, path = "/api/v1/visits/{id}/montage/{eye}/measure", request_body = Drawn,
    params(("id" = i64, Path), ("eye" = String, Path), ("with" = Option<i64>, Query)),
    responses((status = 200, body = DrawnMeasure), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn measure_montage(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(With { with }): Query<With>,
    Json(wish): Json<Drawn>,
) -> Result<Json<DrawnMeasure>, ApiError> {
    let about = about(&station, id, &eye, with).await?;
    let made = kept(&about)?;
    let radius = radius(&station, &about).await?;
    let canvas = made.assembly.mosaics.first();
    let canvas = canvas.ok_or_else(|| ApiError::not_found("montage", "it has no picture"))?;
    let [width, height] = canvas.size;
    let picture = Picture::from(Stereographic { width, height, deg_per_px: [canvas.degrees_per_pixel; 2] });
    let axis = EyeAxis::of(reference_gaze(&about, &made), Some(about.eye));
    let picture = made.assembly.calibrated.then_some(picture);
    let on = Ground::new(picture, canvas.size, radius, axis, state_of(&about));
    Ok(Json(drawn::measured(&wish, &on, "serrata.montage_measure/1")?))
}

/// The gaze of the frame whose view frame is the sphere's.
fn reference_gaze(about: &About, made: &Made) -> Gaze {
    let id = made.assembly.reference.as_ref().and_then(|r| r.parse::<i64>().ok());
    about.wanted.picks.iter().find(|p| Some(p.id) == id).map_or(Gaze::Primary, |p| p.gaze)
}

/// What is known of this eye today.
const fn state_of(about: &About) -> &EyeState {
    match about.eye {
        Eye::R => &about.visit.right_eye,
        Eye::L => &about.visit.left_eye,
    }
}

/// The radius of this eye.
async fn radius(station: &Station, about: &About) -> Result<Radius, ApiError> {
    let frames = station.store().frames_of_visit(about.visit.id).await?;
    let facts = frames.iter().find(|f| f.eye() == Some(about.eye) && f.facts.axial_length_mm.is_some());
    match facts {
        Some(f) => geometry::radius(&f.facts, &geometry::Given::default())
            .map_err(|e| ApiError::bad(f.name.clone(), e.to_string(), "Correct the axial length")),
        None => Ok(Radius::population()),
    }
}

/// An outline at each of two visits.
#[derive(Debug, Deserialize, ToSchema)]
pub struct TwoOutlines {
    /// At the earlier visit: pixels of the montage.
    pub earlier: Vec<[f64; 2]>,
    /// At this visit: pixels of the montage.
    pub later: Vec<[f64; 2]>,
}

/// Whether a marked area grew.
#[derive(Debug, Serialize, ToSchema)]
pub struct GrowthTold {
    /// Always `serrata.growth/1`.
    pub schema: &'static str,
    /// Areas at both visits, mm².
    pub areas_mm2: Option<[f64; 2]>,
    /// Later minus earlier, mm².
    pub growth_mm2: Option<f64>,
    /// Its 95 % interval.
    pub growth_interval_mm2: Option<[f64; 2]>,
    /// Growth as a share of the earlier area.
    pub growth_share: f64,
    /// Its 95 % interval.
    pub growth_share_interval: [f64; 2],
    /// `larger`, `smaller` or `within measuring error`.
    pub conclusion: &'static str,
    /// Radius of the sphere, mm.
    pub radius_mm: f64,
    /// `axial_length` or `population`.
    pub radius_source: &'static str,
    /// Why there are no mm².
    pub uncalibrated: Option<String>,
}

/// Whether a marked area grew between an earlier visit and this one.
#[utoipa::path(post, path = "/api/v1/visits/{id}/montage/{eye}/growth", request_body = TwoOutlines,
    params(("id" = i64, Path), ("eye" = String, Path), ("with" = i64, Query)),
    responses((status = 200, body = GrowthTold), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn growth(
    State(station): State<Station>,
    Path((id, eye)): Path<(i64, String)>,
    Query(With { with }): Query<With>,
    Json(both): Json<TwoOutlines>,
) -> Result<Json<GrowthTold>, ApiError> {
    let about = about(&station, id, &eye, with).await?;
    if about.with.is_none() {
        let remedy = "Name the earlier visit in `with`";
        return Err(ApiError::bad(format!("visit {id}"), "growth needs two visits", remedy));
    }
    let made = kept(&about)?;
    let radius = radius(&station, &about).await?;
    let none = match millimetres(state_of(&about)) {
        Millimetres::None(why) => Some(why.to_owned()),
        Millimetres::Given | Millimetres::Wider(_) => None,
    };
    let on = |points| Marked { frame: None, points };
    let g = montage::growth(&made.assembly, &on(both.earlier), &on(both.later), radius)
        .map_err(|e| refused(&e))?;
    let uncalibrated = g.uncalibrated.map(str::to_owned).or(none);
    let told = uncalibrated.is_none();
    Ok(Json(GrowthTold {
        schema: "serrata.growth/1",
        areas_mm2: g.earlier_mm2.zip(g.later_mm2).map(|(a, b)| [a, b]).filter(|_| told),
        growth_mm2: g.growth_mm2.filter(|_| told),
        growth_interval_mm2: g.growth_interval_mm2.filter(|_| told),
        growth_share: g.growth_share,
        growth_share_interval: g.growth_share_interval,
        conclusion: g.conclusion,
        radius_mm: g.radius_mm,
        radius_source: g.radius_source,
        uncalibrated,
    }))
}
