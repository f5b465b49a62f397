//! Workers: they take work items, look at the pixels, and keep what was seen.

use crate::Station;
use crate::reading::read_frames;
use serrata_frame::{DecodeError, Limits};
use serrata_store::{By, Failure, NewWork, StoreError, WorkItem};
use serrata_words::{AcquisitionFacts, Modality, Observation};
use std::time::Duration;

/// How long a worker may hold an item before another one takes it, in µs: a large frame takes well under a second,
/// so a minute means that the worker is gone. Judgement.
const LEASE_US: i64 = 60_000_000;

/// How long a worker sleeps when nobody wakes it: items whose lease ran out are found then.
const NAP: Duration = Duration::from_secs(2);

/// Largest share of a second to wait after a failed store, so that a full disk is not hammered.
const PAUSE: Duration = Duration::from_millis(500);

/// The work that a frame causes: observing it, as the kind that a person or the header names.
#[must_use]
pub fn observe_work(facts: &AcquisitionFacts, corrected: Option<Modality>) -> NewWork {
    NewWork {
        kind: "observe".to_owned(),
        method: serrata_appraise::METHOD,
        parameters: serde_json::json!({
            "modality": corrected.or(facts.modality),
            "instrument": facts.instrument,
        }),
    }
}

/// Works until the server stops. Start as many as there are threads for pixels.
pub async fn work(station: Station) {
    loop {
        let now = jiff::Timestamp::now().as_microsecond();
        match station.store().lease_work(now, LEASE_US).await {
            Ok(Some(item)) => {
                if let Err(e) = one(&station, &item).await {
                    tracing::error!(work = %item.id, error = %e, "a result could not be kept; the work will be taken again");
                    tokio::time::sleep(PAUSE).await;
                }
            }
            Ok(None) => {
                let _ = tokio::time::timeout(NAP, station.woken()).await; // woken or not, look again
            }
            Err(e) => {
                tracing::error!(error = %e, "work cannot be read");
                tokio::time::sleep(PAUSE).await;
            }
        }
    }
}

async fn one(station: &Station, item: &WorkItem) -> Result<(), StoreError> {
    let bytes = station.store().read_original(&item.sha256).await?;
    let (index, wanted) = (item.index as usize, item.corrections.modality.or(item.facts.modality));
    let (named, at) = (item.facts.instrument.clone(), station.clone());
    let seen = station
        .pixels(move || {
            let frames = read_frames(&bytes, &Limits::default())?;
            let frame = frames.get(index).ok_or(DecodeError::Truncated)?;
            let modality = wanted.unwrap_or_else(|| serrata_appraise::likely_modality(frame));
            let instrument = at.instrument_of(named.as_deref());
            Ok((modality, serrata_appraise::observe(frame, modality, instrument)))
        })
        .await;
    let by = By::station();
    match seen {
        Some(Ok((modality, observation))) => {
            station.store().finish_work(item, body(modality, &observation)?, &by).await?;
        }
        Some(Err(e)) => {
            let e: DecodeError = e;
            let failure = Failure { message: e.to_string(), remedy: e.remedy().to_owned(), again: false };
            station.store().fail_work(item, failure, &by).await?;
        }
        None => {
            let failure = Failure {
                message: "the check stopped in the middle of this picture".to_owned(),
                remedy: "Judge it by eye and report the file to the developers".to_owned(),
                again: true,
            };
            station.store().fail_work(item, failure, &by).await?;
        }
    }
    Ok(())
}

/// An observation as it is kept: with the kind that it was observed as.
fn body(modality: Modality, observation: &Observation) -> Result<serde_json::Value, StoreError> {
    let mut body = serde_json::to_value(observation).map_err(|e| StoreError::Damaged(e.to_string()))?;
    body["observed_as"] = serde_json::Value::String(modality.word().to_owned());
    Ok(body)
}

/// The kind that a kept observation was observed as.
#[must_use]
pub fn observed_as(body: &serde_json::Value) -> Option<Modality> {
    body.get("observed_as")?.as_str()?.parse().ok()
}
