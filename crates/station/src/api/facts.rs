//! What happens in a visit, as facts with author, time and reason; closing and reopening.

use super::error::ApiError;
use super::orders::who;
use super::stand::stand;
use super::types::Done;
use crate::Station;
use axum::Json;
use axum::extract::{Path, State};
use serde::Deserialize;
use serrata_store::{Visit, VisitId};
use serrata_words::Fact;
use utoipa::ToSchema;

/// Most characters of a note (judgement).
const LONGEST_NOTE: usize = 2000;

/// A fact to be kept.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFact {
    /// Who: an account or initials.
    pub who: String,
    /// Why, in words.
    #[serde(default)]
    pub reason: Option<String>,
    /// The fact: an object with `kind` (`identity_ticked`, `seated`, `paused`, `eye_noted`, `person_noted`,
    /// `answered`, `ticked`, `remarked`, `needle_began`, `needle_ended`, `injected`, `run_stopped`, `run_resumed`, `run_mode_chosen`, `noted`, `unwell`, `well_again`, `clinician_asked`,
    /// `clinician_reached`, `view_ended`, `view_reopened`, `undone` with the number (`seq`) of a fact that was a mistake) and what it needs.
    #[schema(value_type = Object)]
    pub fact: Fact,
}

/// Who does it.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Who {
    /// Who: an account or initials.
    pub who: String,
}

pub(super) async fn visit_of(station: &Station, id: i64) -> Result<Visit, ApiError> {
    station
        .store()
        .visit(VisitId(id))
        .await?
        .ok_or_else(|| ApiError::not_found(format!("visit {id}"), "there is no such visit"))
}

/// Keeps a fact of a visit. Facts are added, never changed.
#[utoipa::path(post, path = "/api/v1/visits/{id}/facts", params(("id" = i64, Path)), request_body = NewFact,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn add(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<NewFact>,
) -> Result<Json<Done>, ApiError> {
    let visit = visit_of(&station, id).await?;
    let by = who(&body.who)?;
    let reason = body.reason.as_deref().map(str::trim).filter(|r| !r.is_empty()).map(str::to_owned);
    check(&station, &visit, &body.fact, reason.as_deref()).await?;
    let seq = station.store().add_fact(visit.id, body.fact, reason, &by).await?;
    Ok(Json(Done { ids: vec![i64::try_from(seq).unwrap_or(i64::MAX)] }))
}

/// Whether a person may say this here.
async fn check(station: &Station, visit: &Visit, fact: &Fact, reason: Option<&str>) -> Result<(), ApiError> {
    let path = format!("visit {}", visit.id);
    let bad = |m: &str, r: &str| Err(ApiError::bad(path.clone(), m, r));
    match fact {
        Fact::IdentityTicked { identifiers } => {
            if serrata_visit::identifiers_said(identifiers) < 2 {
                return bad(
                    "one identifier is not enough",
                    "Let the patient say two, for example name and date of birth: the parts of a name are one",
                );
            }
        }
        Fact::ViewEnded { view, why, .. } => {
            if !stand(station, visit).await?.views.iter().any(|v| v.name == *view) {
                return bad("this visit has no such view", "Use a view's name as the visit shows it");
            }
            if *why == serrata_words::NotHad::Other && reason.is_none() {
                return bad("\"other\" needs its words", "Say in a few words why");
            }
        }
        Fact::ClinicianReached { whom } if whom.trim().is_empty() => {
            return bad("nobody is named who was reached", "Name who was reached");
        }
        Fact::ClinicianReached { .. } => {
            let facts = stand(station, visit).await?.facts;
            if facts.calls.iter().all(|c| c.reached.is_some()) {
                return bad("no call for the clinician is open", "Call first");
            }
        }
        Fact::Remarked { text } if text.trim().is_empty() => {
            return bad("the note is empty", "Write it, or leave it");
        }
        Fact::Answered { question, answer } => {
            if answer.trim().is_empty() {
                return bad("the answer is empty", "Give it in a word, or undo the one that was given");
            }
            if !serrata_visit::questions(&stand(station, visit).await?.views).iter().any(|q| q.id == question)
            {
                return bad(
                    "this visit asks no such question",
                    "Use the id of a question as the visit shows it",
                );
            }
        }
        Fact::Remarked { text } if text.chars().count() > LONGEST_NOTE => {
            return bad("the note is too long", "Say it in at most 2000 characters");
        }
        Fact::Injected { injection } => {
            let strength = injection.strength.map(|c| c.0);
            let wild = |v: &f64| !(v.is_finite() && *v > 0.0);
            if [injection.mg, strength].iter().flatten().any(wild) {
                return bad(
                    "dose and strength are numbers above zero",
                    "Copy the prescription, and read the vial in hand",
                );
            }
            let expiry = injection.expiry.trim();
            let day = |text: &str| text.parse::<jiff::civil::Date>().is_ok();
            if !expiry.is_empty() && !day(expiry) && !day(&format!("{expiry}-01")) {
                return bad("the expiry is no month and no day", "Write it as year-month, or year-month-day");
            }
            if injection.rule == Some(serrata_words::DoseRule::Child)
                && injection.second_person.as_deref().is_none_or(|p| p.trim().is_empty())
            {
                return bad("a child's dose needs a second person's check", "Name the second person");
            }
        }
        Fact::NeedleBegan { drug, start_us, start_error_us, .. } => {
            let now = jiff::Timestamp::now().as_microsecond();
            if *start_us > now.saturating_add(1_000_000) || *start_error_us < 0 {
                return bad(
                    "the start of an injection lies in the past, and its error is not below 0",
                    "Touch when the needle goes in, or give the time that it did",
                );
            }
            let facts = stand(station, visit).await?.facts;
            if facts.injections.iter().any(|i| i.drug == *drug) && reason.is_none() {
                return bad(
                    "this dye's clock runs already",
                    "A second injection is a new prescription: say whose, as the reason",
                );
            }
        }
        Fact::NeedleEnded { drug, end_us } => {
            let facts = stand(station, visit).await?.facts;
            let begun = facts.injections.iter().rev().find(|i| i.drug == *drug);
            if begun.is_none_or(|i| *end_us < i.start_us) {
                return bad("no injection of this dye began before that", "Mark its start first");
            }
        }
        Fact::RunStopped
        | Fact::RunResumed
        | Fact::RunModeChosen { .. }
        | Fact::Seated { .. }
        | Fact::Paused { .. }
        | Fact::EyeNoted { .. }
        | Fact::PersonNoted { .. }
        | Fact::Ticked { .. }
        | Fact::Remarked { .. }
        | Fact::Undone { .. }
        | Fact::Noted { .. }
        | Fact::Unwell
        | Fact::WellAgain
        | Fact::ClinicianAsked { .. }
        | Fact::ViewReopened { .. } => {}
        _ => return bad("this fact is kept by the station itself", "Use the address that is made for it"),
    }
    Ok(())
}

/// Closes a visit. Refused while a call for the clinician is unanswered or a frame waits for a second person.
#[utoipa::path(post, path = "/api/v1/visits/{id}/close", params(("id" = i64, Path)), request_body = Who,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn close(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Who>,
) -> Result<Json<Done>, ApiError> {
    let visit = visit_of(&station, id).await?;
    let by = who(&body.who)?;
    let stands = stand(&station, &visit).await?;
    let mut against = Vec::new();
    if stands.facts.calls.iter().any(|c| c.reached.is_none()) {
        against.push("\"Clinician to look now\" is unanswered: write down who was reached.".to_owned());
    }
    if stands.facts.identity.is_none() && !stands.judged.is_empty() {
        against.push("Nobody ticked the two identifiers.".to_owned());
    }
    if stands.judged.iter().any(|j| j.kept.quarantined) {
        against.push("A picture waits for a second person on its way to another patient.".to_owned());
    }
    if let Some(first) = against.first() {
        return Err(ApiError::bad(
            format!("visit {id}"),
            first.clone(),
            "Answer it first, then close the visit",
        ));
    }
    station.store().close_visit(visit.id, &by).await?;
    Ok(Json(Done { ids: vec![id] }))
}

/// Opens a closed visit again.
#[utoipa::path(post, path = "/api/v1/visits/{id}/reopen", params(("id" = i64, Path)), request_body = Who,
    responses((status = 200, body = Done), (status = 404, body = super::types::Error)))]
pub async fn reopen(
    State(station): State<Station>,
    Path(id): Path<i64>,
    Json(body): Json<Who>,
) -> Result<Json<Done>, ApiError> {
    station.store().reopen_visit(VisitId(id), &who(&body.who)?).await?;
    Ok(Json(Done { ids: vec![id] }))
}
