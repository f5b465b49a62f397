//! From what a worklist or a table says to orders that the store takes.

use serrata_dicom::WorklistItem;
use serrata_store::NewOrder;
use serrata_visit::{Ask, Plan, Protocol};
use serrata_words::{BirthDate, Identity, Order, OrderSource, OrderState, Personal};

/// An entry of the worklist as an order; none where it carries no number at all.
#[must_use]
pub fn of_worklist(item: &WorklistItem, protocols: &[Protocol]) -> Option<Order> {
    let number = [&item.accession, &item.procedure_id, &item.step_id].into_iter().find(|n| !n.is_empty())?;
    let name = item.patient.name.reveal().split('=').next().unwrap_or_default();
    let mut parts = name.split('^').map(str::trim);
    let (family, given) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    let mut asked: Vec<&str> = Vec::new();
    for text in [&item.procedure, &item.step, &item.reason, &item.comments] {
        if !text.is_empty() && !asked.contains(&text.as_str()) {
            asked.push(text);
        }
    }
    let cancelled = matches!(item.status.as_str(), "CANCELED" | "CANCELLED" | "DISCONTINUED");
    let scheduled = match (item.day.as_str(), item.time.as_str()) {
        ("", _) => None,
        (day, "") => Some(day.to_owned()),
        (day, time) => Some(format!("{day}T{time}")),
    };
    Some(Order {
        number: number.clone(),
        provisional: false,
        source: OrderSource::Worklist,
        state: if cancelled { OrderState::Cancelled } else { OrderState::Open },
        identity: Identity {
            patient_id: Personal::new(item.patient.id.reveal().trim().to_owned()),
            issuer: None,
            family: Personal::new(family.to_owned()),
            given: Personal::new(given.to_owned()),
            born: Personal::new(BirthDate::parse(item.patient.birth_date.reveal())),
            sex: Some(item.patient.sex.reveal().clone()).filter(|s| !s.is_empty()),
        },
        study_uid: Some(item.study_uid.clone()).filter(|s| !s.is_empty()),
        scheduled,
        asked: asked.join("; "),
        protocol: protocol_of(item, protocols),
        eyes: Vec::new(),
        transit: None,
        options: Vec::new(),
    })
}

/// The protocol that an entry names by code or in words; none where it names none. Nothing is guessed.
fn protocol_of(item: &WorklistItem, protocols: &[Protocol]) -> Option<String> {
    let codes = item.step_codes.iter().chain(&item.procedure_codes);
    let said = codes
        .flat_map(|c| [c.value.as_str(), c.meaning.as_str()])
        .chain([item.step.as_str(), item.procedure.as_str()]);
    let is =
        |word: &str, p: &Protocol| word.eq_ignore_ascii_case(&p.name) || word.eq_ignore_ascii_case(&p.title);
    said.filter(|w| !w.is_empty()).find_map(|w| protocols.iter().find(|p| is(w, p))).map(|p| p.name.clone())
}

/// The plan that an order stands for, or the question that a person has to answer first.
///
/// # Errors
/// One sentence: the protocol is not named, not known, or leaves something open.
pub fn plan_of(order: &Order, protocols: &[Protocol]) -> Result<Plan, String> {
    let Some(name) = order.protocol.as_deref() else {
        return Err("The order names no protocol: choose one".to_owned());
    };
    let known = || protocols.iter().map(|p| p.name.as_str()).collect::<Vec<_>>().join(", ");
    let protocol = protocols
        .iter()
        .find(|p| p.name == name)
        .ok_or_else(|| format!("There is no protocol \"{name}\"; use one of: {}", known()))?;
    let ask = Ask {
        eyes: order.eyes.clone(),
        transit: order.transit,
        options: order.options.clone(),
        ..Ask::default()
    };
    protocol.plan(&ask).map_err(|e| e.to_string())
}

/// An order with its views as the store takes it, and the question that it leaves open.
#[must_use]
pub fn to_take(
    order: Order,
    protocols: &[Protocol],
    number_from: Option<String>,
) -> (NewOrder, Option<String>) {
    let plan = plan_of(&order, protocols);
    let (views, protocol, title) = match &plan {
        Ok(p) => {
            let json = serde_json::to_value(p).unwrap_or_else(|_| serde_json::json!({}));
            (p.views.clone(), json, p.title.clone())
        }
        Err(_) if order.asked.is_empty() => (Vec::new(), serde_json::json!({}), "Not said".to_owned()),
        Err(_) => (Vec::new(), serde_json::json!({}), order.asked.clone()),
    };
    (NewOrder { order, number_from, title, protocol, views }, plan.err())
}
