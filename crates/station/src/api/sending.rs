//! What is sent to other places, how far it has come, and why it is not there yet.

use super::derived::derived;
use super::error::ApiError;
use super::facts::visit_of;
use super::orders::who;
use super::paper::printed;
use super::stand::{Stand, stand};
use super::types::{self, Done};
use super::unassigned::identity_of;
use crate::Station;
use axum::Json;
use axum::extract::{Path, State};
use serde::{Deserialize, Serialize};
use serrata_store::{Delivery, DeliveryKind, DeliveryState, NewDelivery, Visit, VisitId};
use serrata_visit::short_identity;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use utoipa::ToSchema;

/// Most deliveries that one answer lists; the numbers are of all.
const LISTED: u32 = 500;

/// Where things go, and how it stands there.
#[derive(Debug, Serialize, ToSchema)]
pub struct Sending {
    /// Always `serrata.sending/1`.
    pub schema: &'static str,
    /// The station's clock.
    pub now_utc_us: i64,
    /// One sentence: is everything there that was sent.
    pub sentence: String,
    /// The places that this clinic sends to.
    pub destinations: Vec<DestinationLine>,
    /// Of all visits: what is neither there nor taken out, what needs a person first. Of one visit: all of it.
    pub deliveries: Vec<DeliveryLine>,
    /// Frames of the visit that were not queued, and why; empty for all visits.
    pub left_out: Vec<NotQueued>,
}

/// A place that is sent to.
#[derive(Debug, Serialize, ToSchema)]
pub struct DestinationLine {
    /// What the clinic calls it.
    pub name: String,
    /// Host and port.
    pub address: String,
    /// Its AE title.
    pub ae_title: String,
    /// How arrival is proven: `commitment` or `query`.
    pub proof: String,
    /// Not there yet.
    pub waiting: u64,
    /// Stored by the other side, not proven yet.
    pub unproven: u64,
    /// There and proven.
    pub done: u64,
    /// Needs a person.
    pub failed: u64,
}

/// A file on its way.
#[derive(Debug, Serialize, ToSchema)]
pub struct DeliveryLine {
    /// Its number.
    pub id: i64,
    /// Where it goes.
    pub destination: String,
    /// The visit.
    pub visit_id: i64,
    /// The patient, shortly.
    pub patient: String,
    /// The file's name.
    pub name: String,
    /// `original`, or `derived`: made of pictures.
    pub kind: String,
    /// The frames that it holds, or is about.
    pub frames: Vec<i64>,
    /// `waiting`, `stored`, `asked`, `done`, `failed`, `withdrawn`.
    pub state: String,
    /// Why it is not there yet, or how its arrival was proven.
    pub why: Option<String>,
    /// How often it was tried in vain.
    pub tries: u32,
    /// When it is tried next.
    pub next_try_utc_us: Option<i64>,
    /// Who queued it.
    pub who: String,
    /// When.
    pub queued_utc_us: i64,
    /// When its arrival was proven.
    pub done_utc_us: Option<i64>,
}

/// A frame that does not go along.
#[derive(Debug, Serialize, ToSchema)]
pub struct NotQueued {
    /// The frame.
    pub frame: i64,
    /// Its file's name.
    pub name: String,
    /// Why.
    pub reason: String,
}

/// What is to be sent where.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Send {
    /// Who sends it: an account or initials.
    pub who: String,
    /// A destination's name.
    pub destination: String,
}

/// A person's wish for one delivery.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    /// Who: an account or initials.
    pub who: String,
    /// Why; must be given where it is taken out.
    #[serde(default)]
    pub reason: Option<String>,
}

/// How sending stands, over all visits.
#[utoipa::path(get, path = "/api/v1/sending", responses((status = 200, body = Sending)))]
pub async fn sending(State(station): State<Station>) -> Result<Json<Sending>, ApiError> {
    let deliveries = station.store().deliveries(None, LISTED).await?;
    Ok(Json(told(&station, deliveries, Vec::new()).await?))
}

/// How sending stands for one visit.
#[utoipa::path(get, path = "/api/v1/visits/{id}/sending", params(("id" = i64, Path)),
    responses((status = 200, body = Sending), (status = 404, body = types::Error)))]
pub async fn visit_sending(
    State(station): State<Station>,
    Path(id): Path<i64>,
) -> Result<Json<Sending>, ApiError> {
    let visit = visit_of(&station, id).await?;
    let deliveries = station.store().deliveries(Some(visit.id), LISTED).await?;
    Ok(Json(told(&station, deliveries, Vec::new()).await?))
}

/// Queues the originals of a visit for a destination, all that are in the hand-over. What is on its way or there already stays as it
/// is.
#[utoipa::path(post, path = "/api/v1/visits/{id}/send", params(("id" = i64, Path)), request_body = Send,
    responses((status = 200, body = Sending), (status = 400, body = types::Error), (status = 404, body = types::Error)))]
pub async fn send(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Send>,
) -> Result<Json<Sending>, ApiError> {
    let by = who(&body.who)?;
    let visit = visit_of(&station, id).await?;
    let known = &station.settings().destinations;
    if !known.iter().any(|d| d.name == body.destination) {
        let names: Vec<&str> = known.iter().map(|d| d.name.as_str()).collect();
        let remedy = match names.as_slice() {
            [] => "Name a destination in the config file that the server is started with".to_owned(),
            names => format!("Name one of: {}", names.join(", ")),
        };
        return Err(ApiError::bad(body.destination, "there is no such destination", &remedy));
    }
    let s = stand(&station, &visit).await?;
    let (mut files, mut left_out) = chosen(&s);
    if files.is_empty() {
        let why = left_out.first().map_or_else(
            || "there is no picture to send yet".to_owned(),
            |first| format!("there is no picture to send: {}", first.reason),
        );
        return Err(ApiError::bad(
            format!("visit {id}"),
            why,
            "Take one first, or hand it over as a package",
        ));
    }
    if known.iter().any(|d| d.name == body.destination && d.derived) {
        let (made, not_made) = made(&station, &visit, &s, &body.destination).await?;
        files.extend(made);
        left_out.extend(not_made);
    }
    station.store().queue_deliveries(visit.id, &body.destination, files, &by).await?;
    station.sending().notify_waiters();
    let deliveries = station.store().deliveries(Some(visit.id), LISTED).await?;
    Ok(Json(told(&station, deliveries, left_out).await?))
}

/// Makes the objects that are not on their way yet, one at a time, and keeps them until they have left. What cannot be made is told.
async fn made(
    station: &Station,
    visit: &Visit,
    s: &Stand,
    destination: &str,
) -> Result<(Vec<NewDelivery>, Vec<NotQueued>), ApiError> {
    let paper = printed(station, visit.id.0).await.ok();
    let there = station.store().derived_on_their_way(visit.id, destination).await?;
    let (mut files, mut not_made) = (Vec::new(), Vec::new());
    for object in derived(station, visit, s, paper.as_deref()).await? {
        let sha256 = match there.get(&object.instance_uid) {
            Some(sha256) => Ok(sha256.clone()),
            None => {
                let making = object.clone();
                match tokio::task::spawn_blocking(move || making.make()).await {
                    Ok(Ok(bytes)) => Ok(station.store().put_derived(bytes.into()).await?.sha256),
                    Ok(Err(why)) => Err(why),
                    Err(_) => Err("making it stopped in the middle".to_owned()),
                }
            }
        };
        let name = format!("{}.dcm", object.name);
        match sha256 {
            Ok(sha256) => files.push(NewDelivery {
                kind: DeliveryKind::Derived,
                sha256,
                name,
                instance_uid: object.instance_uid,
                frames: object.frames,
            }),
            Err(reason) => {
                let frame = object.frames.first().map_or(0, |f| f.0);
                not_made.push(NotQueued { frame, name, reason });
            }
        }
    }
    Ok((files, not_made))
}

/// Has a delivery tried again at once.
#[utoipa::path(post, path = "/api/v1/sending/{id}/again", params(("id" = i64, Path)), request_body = Wish,
    responses((status = 200, body = Done), (status = 400, body = types::Error)))]
pub async fn send_again(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Wish>,
) -> Result<Json<Done>, ApiError> {
    station.store().retry_delivery(id, &who(&body.who)?).await?;
    station.sending().notify_waiters();
    Ok(Json(Done { ids: vec![id] }))
}

/// Takes a delivery out of the queue. Nothing is deleted, and what the other side has it keeps.
#[utoipa::path(post, path = "/api/v1/sending/{id}/withdraw", params(("id" = i64, Path)), request_body = Wish,
    responses((status = 200, body = Done), (status = 400, body = types::Error)))]
pub async fn withdraw(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Wish>,
) -> Result<Json<Done>, ApiError> {
    let reason = body.reason.unwrap_or_default();
    station.store().withdraw_delivery(id, &reason, &who(&body.who)?).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// The files of a visit that are sent, and the frames that are not.
fn chosen(s: &Stand) -> (Vec<NewDelivery>, Vec<NotQueued>) {
    let (mut files, mut left_out) = (Vec::<NewDelivery>::new(), Vec::new());
    let held = |sha: &str| s.judged.iter().any(|j| j.kept.quarantined && j.kept.sha256 == sha);
    for j in &s.judged {
        let k = &j.kept;
        let why = match (&k.set_aside, &k.facts.instance_uid) {
            _ if held(&k.sha256) => {
                Some("its file waits for a second person on its way to another patient".to_owned())
            }
            (Some(reason), _) => Some(format!("set aside: {reason}")),
            (None, None) => Some("it is no DICOM object; hand it over as a package".to_owned()),
            (None, Some(_)) if k.conflict => {
                Some("another file carries the same number (SOP Instance UID); set one of them aside and hand over a package".to_owned())
            }
            (None, Some(_)) => None,
        };
        match (why, &k.facts.instance_uid) {
            (None, Some(uid)) => match files.iter_mut().find(|f| f.sha256 == k.sha256) {
                Some(f) => f.frames.push(k.id),
                None => files.push(NewDelivery {
                    kind: DeliveryKind::Original,
                    sha256: k.sha256.clone(),
                    name: k.name.clone(),
                    instance_uid: uid.clone(),
                    frames: vec![k.id],
                }),
            },
            (why, _) => left_out.push(NotQueued {
                frame: k.id.0,
                name: k.name.clone(),
                reason: why.unwrap_or_default(),
            }),
        }
    }
    (files, left_out)
}

async fn told(
    station: &Station,
    deliveries: Vec<Delivery>,
    left_out: Vec<NotQueued>,
) -> Result<Sending, ApiError> {
    let counts = station.store().delivery_counts().await?;
    let many = |name: &str, states: &[DeliveryState]| -> u64 {
        counts.iter().filter(|c| c.destination == name && states.contains(&c.state)).map(|c| c.many).sum()
    };
    let destinations: Vec<DestinationLine> = station
        .settings()
        .destinations
        .iter()
        .map(|d| DestinationLine {
            name: d.name.clone(),
            address: d.address.clone(),
            ae_title: d.ae_title.clone(),
            proof: d.proof().word().to_owned(),
            waiting: many(&d.name, &[DeliveryState::Waiting]),
            unproven: many(&d.name, &[DeliveryState::Stored, DeliveryState::Asked]),
            done: many(&d.name, &[DeliveryState::Done]),
            failed: many(&d.name, &[DeliveryState::Failed]),
        })
        .collect();
    let mut patients: BTreeMap<VisitId, String> = BTreeMap::new();
    for d in &deliveries {
        if let Entry::Vacant(place) = patients.entry(d.visit_id) {
            let visit: Option<Visit> = station.store().visit(d.visit_id).await?;
            place.insert(visit.map(|v| short_identity(&identity_of(&v.person))).unwrap_or_default());
        }
    }
    let line = |d: Delivery| {
        let open = matches!(d.state, DeliveryState::Waiting | DeliveryState::Stored | DeliveryState::Asked);
        DeliveryLine {
            id: d.id,
            patient: patients.get(&d.visit_id).cloned().unwrap_or_default(),
            destination: d.destination,
            visit_id: d.visit_id.0,
            name: d.name,
            kind: d.kind.word().to_owned(),
            frames: d.frames.iter().map(|f| f.0).collect(),
            state: d.state.word().to_owned(),
            why: d.why,
            tries: d.tries,
            next_try_utc_us: open.then_some(d.next_us),
            who: d.who,
            queued_utc_us: d.queued_us,
            done_utc_us: d.done_us,
        }
    };
    let sentence = sentence(&destinations);
    Ok(Sending {
        schema: "serrata.sending/1",
        now_utc_us: jiff::Timestamp::now().as_microsecond(),
        sentence,
        destinations,
        deliveries: deliveries.into_iter().map(line).collect(),
        left_out,
    })
}

fn sentence(destinations: &[DestinationLine]) -> String {
    let sum = |of: fn(&DestinationLine) -> u64| destinations.iter().map(of).sum::<u64>();
    let (failed, open) = (sum(|d| d.failed), sum(|d| d.waiting + d.unproven));
    let files = |n: u64| if n == 1 { "1 file".to_owned() } else { format!("{n} files") };
    match (destinations.len(), failed, open) {
        (0, ..) => "No destination is set up: pictures leave as packages.".to_owned(),
        (_, 0, 0) => "Everything that was sent has arrived.".to_owned(),
        (_, 0, n) => format!("{} not proven to have arrived yet.", files(n)),
        (_, f, 0) => format!("{} could not be sent: look at each.", files(f)),
        (_, f, n) => format!("{} could not be sent: look at each. {} on the way.", files(f), files(n)),
    }
}
