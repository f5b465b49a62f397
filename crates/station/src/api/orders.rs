//! Orders: from the worklist, a table, or typed in; provisional ones merged by a person who saw both.

use super::brief::birth_date;
use super::error::ApiError;
use super::order_types::{
    Beside, FieldPair, MergeOrder, NotTaken, Offered, OrderLine, Orders, TakeFromWorklist, TypedOrder,
};
use super::types::Done;
use crate::Station;
use crate::orders::{of_worklist, plan_of, to_take};
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serrata_dicom::WorklistQuery;
use serrata_store::{By, StoreError, Taken};
use serrata_visit::{Protocol, contradictions, differences, read_orders};
use serrata_words::{BirthDate, Eye, Identity, Order, OrderSource, OrderState, Personal};

/// Most orders in one answer.
const MOST: u32 = 500;

/// Orders of open visits, and provisional ones that wait to be merged.
#[utoipa::path(get, path = "/api/v1/orders", responses((status = 200, body = Orders)))]
pub async fn orders(State(station): State<Station>) -> Result<Json<Orders>, ApiError> {
    let protocols = protocols()?;
    let kept = station.store().open_orders(MOST).await?;
    let orders = kept
        .into_iter()
        .map(|k| {
            let mut line = line(&k.order, &protocols);
            line.visit_id = Some(k.visit_id.0);
            line.merged_into = k.merged_into;
            line
        })
        .collect();
    Ok(Json(Orders { schema: "serrata.orders/1", orders }))
}

/// Types an order in: it gets a provisional number, and a visit.
#[utoipa::path(post, path = "/api/v1/orders", request_body = TypedOrder,
    responses((status = 200, body = Offered), (status = 400, body = super::types::Error)))]
pub async fn typed(
    State(station): State<Station>,
    Json(new): Json<TypedOrder>,
) -> Result<Json<Offered>, ApiError> {
    let bad = |m: &str, r: &str| ApiError::bad("order", m, r);
    let born = BirthDate::parse(new.birth_date.trim())
        .ok_or_else(|| bad("the date of birth is no date", "Write it as year-month-day"))?;
    if new.family.trim().is_empty() || new.patient_id.trim().is_empty() {
        return Err(bad("an order needs the patient's number and family name", "Type in both"));
    }
    let eye = |e: &String| e.parse::<Eye>().map_err(|e| bad(&e.to_string(), "Use R or L"));
    let order = Order {
        number: String::new(),
        provisional: true,
        source: OrderSource::Typed,
        state: OrderState::Open,
        identity: Identity {
            patient_id: Personal::new(new.patient_id.trim().to_owned()),
            issuer: None,
            family: Personal::new(new.family.trim().to_owned()),
            given: Personal::new(new.given.trim().to_owned()),
            born: Personal::new(Some(born)),
            sex: None,
        },
        study_uid: Some(serrata_dicom::uid::fresh()),
        scheduled: None,
        asked: new.asked,
        protocol: Some(new.protocol),
        eyes: new.eyes.iter().map(eye).collect::<Result<_, _>>()?,
        transit: new.transit.as_ref().map(eye).transpose()?,
        options: new.options,
    };
    let protocols = protocols()?;
    plan_of(&order, &protocols).map_err(|q| bad(&q, "Answer it, then type the order in again"))?;
    let day = jiff::ZonedDateTime::now().strftime("P-%Y%m%d-").to_string();
    let mut offered = empty();
    take_one(&station, order, Some(day), &protocols, &who(&new.who)?, &mut offered).await?;
    Ok(Json(offered))
}

/// Whether what is good is taken.
#[derive(Debug, Deserialize)]
pub struct TakeTable {
    take: Option<String>,
}

/// A table of orders (CSV): without `take` it is only read; with `take=WHO` its good rows are taken.
#[utoipa::path(post, path = "/api/v1/orders/table", params(("take" = Option<String>, Query)),
    request_body(content = String, content_type = "text/csv"),
    responses((status = 200, body = Offered), (status = 400, body = super::types::Error)))]
pub async fn table(
    State(station): State<Station>,
    Query(query): Query<TakeTable>,
    body: axum::body::Bytes,
) -> Result<Json<Offered>, ApiError> {
    let protocols = protocols()?;
    let read = read_orders(&body, &protocols)
        .map_err(|e| ApiError::bad("table", e.to_string(), "Mend the table and send it again"))?;
    let mut offered = empty();
    for row in read.bad {
        offered.bad.push(NotTaken { what: format!("line {}", row.line), reasons: row.reasons });
    }
    let by = query.take.as_deref().map(who).transpose()?;
    all(&station, read.orders.into_iter().map(|(_, o)| o).collect(), by, &protocols, &mut offered).await?;
    Ok(Json(offered))
}

/// Which day of the worklist.
#[derive(Debug, Deserialize)]
pub struct Day {
    day: Option<String>,
}

/// The worklist of a day, as it is now; nothing is taken.
#[utoipa::path(get, path = "/api/v1/worklist", params(("day" = Option<String>, Query)),
    responses((status = 200, body = Offered), (status = 502, body = super::types::Error)))]
pub async fn worklist(
    State(station): State<Station>,
    Query(query): Query<Day>,
) -> Result<Json<Offered>, ApiError> {
    let mut offered = empty();
    let protocols = protocols()?;
    let found = ask(&station, query.day, &protocols, &mut offered).await?;
    all(&station, found, None, &protocols, &mut offered).await?;
    Ok(Json(offered))
}

/// Takes orders of the worklist.
#[utoipa::path(post, path = "/api/v1/worklist", request_body = TakeFromWorklist,
    responses((status = 200, body = Offered), (status = 502, body = super::types::Error)))]
pub async fn take_worklist(
    State(station): State<Station>,
    Json(body): Json<TakeFromWorklist>,
) -> Result<Json<Offered>, ApiError> {
    let by = who(&body.who)?;
    let mut offered = empty();
    let protocols = protocols()?;
    let mut found = ask(&station, body.day, &protocols, &mut offered).await?;
    if let Some(wanted) = &body.numbers {
        found.retain(|o| wanted.contains(&o.number));
        for number in wanted.iter().filter(|n| !found.iter().any(|o| o.number == **n)) {
            let reasons = vec!["The worklist has no such number on that day.".to_owned()];
            offered.bad.push(NotTaken { what: number.clone(), reasons });
        }
    }
    all(&station, found, Some(by), &protocols, &mut offered).await?;
    Ok(Json(offered))
}

/// Two orders side by side.
#[utoipa::path(get, path = "/api/v1/orders/{number}/beside/{other}",
    params(("number" = String, Path), ("other" = String, Path)),
    responses((status = 200, body = Beside), (status = 404, body = super::types::Error)))]
pub async fn beside(
    State(station): State<Station>,
    Path((number, other)): Path<(String, String)>,
) -> Result<Json<Beside>, ApiError> {
    let protocols = protocols()?;
    let (a, b) = (kept(&station, &number).await?, kept(&station, &other).await?);
    let differences = pairs(&differences(&a.identity, &b.identity));
    Ok(Json(Beside {
        schema: "serrata.beside/1",
        here: line(&a, &protocols),
        there: line(&b, &protocols),
        differences,
    }))
}

/// Merges a provisional order into the one that it is.
#[utoipa::path(post, path = "/api/v1/orders/{number}/merge", params(("number" = String, Path)),
    request_body = MergeOrder,
    responses((status = 200, body = Done), (status = 400, body = super::types::Error)))]
pub async fn merge(
    State(station): State<Station>,
    Path(number): Path<String>,
    Json(body): Json<MergeOrder>,
) -> Result<Json<Done>, ApiError> {
    if !body.seen_both {
        return Err(ApiError::bad(
            format!("order {number}"),
            "orders are merged only by a person who saw both side by side",
            "Look at both, then say so",
        ));
    }
    let visit = station.store().merge_order(&number, &body.into, &who(&body.who)?).await?;
    Ok(Json(Done { ids: vec![visit.0] }))
}

async fn kept(station: &Station, number: &str) -> Result<Order, ApiError> {
    let kept = station.store().order(number).await?;
    kept.map(|k| k.order)
        .ok_or_else(|| ApiError::not_found(format!("order {number}"), "there is no such order"))
}

/// Asks the worklist of a day.
async fn ask(
    station: &Station,
    day: Option<String>,
    protocols: &[Protocol],
    offered: &mut Offered,
) -> Result<Vec<Order>, ApiError> {
    let server = station.settings().worklist.as_ref().ok_or_else(|| {
        ApiError::bad(
            "worklist",
            "no worklist is named",
            "Start with --worklist HOST:PORT, or type orders in",
        )
    })?;
    let day = day.unwrap_or_else(|| jiff::ZonedDateTime::now().date().to_string());
    let answer = serrata_dicom::worklist(server, &WorklistQuery::day(&day)).await.map_err(|e| {
        ApiError::new(StatusCode::BAD_GATEWAY, "worklist", e.code(), e.to_string(), e.remedy())
    })?;
    offered.cut_short = answer.cut_short;
    if answer.unreadable > 0 {
        let reasons = vec!["The entry cannot be read.".to_owned()];
        offered.bad.push(NotTaken { what: format!("{} entries", answer.unreadable), reasons });
    }
    let mut found = Vec::new();
    for item in &answer.items {
        match of_worklist(item, protocols) {
            Some(order) => found.push(order),
            None => offered.bad.push(NotTaken {
                what: format!("an entry at {}", if item.time.is_empty() { "no time" } else { &item.time }),
                reasons: vec!["The entry carries no number.".to_owned()],
            }),
        }
    }
    Ok(found)
}

/// Offers orders, or takes them; those that contradict each other are not taken at all.
async fn all(
    station: &Station,
    found: Vec<Order>,
    by: Option<By>,
    protocols: &[Protocol],
    offered: &mut Offered,
) -> Result<(), ApiError> {
    for order in &found {
        let twins: Vec<&Order> = found.iter().filter(|o| o.number == order.number).collect();
        if twins.iter().any(|o| *o != order) {
            let mut reasons = vec!["The list has this number twice, with different contents.".to_owned()];
            reasons.extend(contradictions(&twins.into_iter().cloned().collect::<Vec<_>>()));
            if !offered.bad.iter().any(|b| b.what == order.number) {
                offered.bad.push(NotTaken { what: order.number.clone(), reasons });
            }
            continue;
        }
        match &by {
            Some(by) => take_one(station, order.clone(), None, protocols, by, offered).await?,
            None => {
                offered.good.push(line(order, protocols));
                offered.became.push("offered".to_owned());
            }
        }
    }
    Ok(())
}

async fn take_one(
    station: &Station,
    order: Order,
    number_from: Option<String>,
    protocols: &[Protocol],
    by: &By,
    offered: &mut Offered,
) -> Result<(), ApiError> {
    let number = order.number.clone();
    let (new, question) = to_take(order, protocols, number_from);
    let mut shown = line(&new.order, protocols);
    shown.question = question;
    let (visit, number, word) = match station.store().take_order(new, by).await {
        Ok(Taken::Opened(v, n)) => (Some(v), n, "opened"),
        Ok(Taken::Joined(v, n)) => (Some(v), n, "joined"),
        Ok(Taken::Known(v, n)) => (Some(v), n, "known"),
        Ok(Taken::Changed(v, n)) => (Some(v), n, "changed"),
        Ok(Taken::Cancelled(v, n)) => (Some(v), n, "cancelled"),
        Ok(Taken::NothingDue(n)) => (None, n, "nothing_due"),
        Err(StoreError::Refused { message, remedy }) => {
            offered.bad.push(NotTaken { what: number, reasons: vec![format!("{message} {remedy}")] });
            return Ok(());
        }
        Err(e) => return Err(e.into()),
    };
    shown.number = number;
    shown.visit_id = visit.map(|v| v.0);
    offered.good.push(shown);
    offered.became.push(word.to_owned());
    Ok(())
}

/// An order as a line.
pub(super) fn line(o: &Order, protocols: &[Protocol]) -> OrderLine {
    let who = &o.identity;
    OrderLine {
        number: o.number.clone(),
        provisional: o.provisional,
        source: o.source.word().to_owned(),
        state: o.state.word().to_owned(),
        patient_id: who.patient_id.reveal().clone(),
        patient_name: format!("{} {}", who.family.reveal(), who.given.reveal()).trim().to_owned(),
        birth_date: who.born.reveal().and_then(|d| birth_date(&d.iso())),
        scheduled: o.scheduled.clone(),
        asked: o.asked.clone(),
        protocol: o.protocol.clone(),
        visit_id: None,
        merged_into: None,
        question: plan_of(o, protocols).err(),
    }
}

/// Differences for the page.
pub(super) fn pairs(found: &[serrata_visit::Difference]) -> Vec<FieldPair> {
    found
        .iter()
        .map(|d| FieldPair { field: d.field.to_owned(), here: d.here.clone(), there: d.there.clone() })
        .collect()
}

/// Who acts: initials or an account; never empty.
pub(super) fn who(text: &str) -> Result<By, ApiError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(ApiError::bad("who", "nobody is named", "Say who does this, for example by initials"));
    }
    Ok(By::person(text))
}

/// The protocols of this house.
pub(super) fn protocols() -> Result<Vec<Protocol>, ApiError> {
    Protocol::shipped().map_err(|e| ApiError::bad("protocol", e.to_string(), "Mend the protocol's file"))
}

const fn empty() -> Offered {
    Offered {
        schema: "serrata.offered/1",
        good: Vec::new(),
        became: Vec::new(),
        bad: Vec::new(),
        cut_short: None,
    }
}
