use super::{Destination, Proof};
use crate::Station;
use bytes::Bytes;
use serrata_dicom::{
    CommitReport, Instance, Outgoing, Peer, PeerError, StoreLink, Stored, WebPeer, ask_commitment, outgoing,
    read_back, uid,
};
use serrata_store::{Delivery, DeliveryState, DeliveryStep, SentAs, StoreError};
use sha2::{Digest, Sha256};
use std::time::Duration;

/// Objects that go over one association: few enough that what is set aside meanwhile still stays (judgement).
const TOGETHER: u32 = 32;

/// Objects that one question asks about: peers take long lists, and one answer has to fit one message (judgement).
const ASKED_TOGETHER: u32 = 500;

/// Least and longest pause after a failure; each doubles the one before (judgement: a restart of an archive takes minutes).
const LEAST_PAUSE: Duration = Duration::from_secs(2);
const LONGEST_PAUSE: Duration = Duration::from_secs(600);

/// How often one object is tried before a person has to look. The pauses between add up to more than an hour.
const TRIES: u32 = 12;

/// How long an answer is waited for over the same association (judgement: quick peers answer at once).
const AT_ONCE: Duration = Duration::from_secs(2);

/// How long an answer may take to come by itself before it is asked again: archives commit in batches (judgement).
const ANSWER_WITHIN: Duration = Duration::from_secs(600);

/// How long the worker sleeps at most; a new delivery wakes it.
const NAP: Duration = Duration::from_secs(30);

/// Sends to one destination until the server stops.
pub async fn run(station: Station, to: Destination) {
    let way = match to.web() {
        Some(web) => Way::Web(web),
        None => Way::Peer(to.peer(&station.settings().ae_title)),
    };
    let mut failures = 0;
    loop {
        match round(&station, &to, &way).await {
            Ok(true) => failures = 0,
            Ok(false) => {
                if let Err(e) = station.store().sweep_derived().await {
                    tracing::warn!("objects that have left cannot be removed: {e}");
                }
                rest(&station, &to.name).await;
            }
            Err(Trouble::Peer(e)) => {
                failures += 1;
                let pause = pause(failures);
                tracing::warn!(destination = %to.name, "nothing can be sent: {e}");
                let why = format!("{e}. {}", e.remedy());
                if let Err(e) =
                    station.store().put_off_deliveries(&to.name, &why, now_us() + micros(pause)).await
                {
                    tracing::error!(destination = %to.name, "the queue cannot be kept: {e}");
                }
                // A person who asks for another try wakes it.
                let _ = tokio::time::timeout(pause, station.sending().notified()).await;
            }
            Err(Trouble::Store(e)) => {
                tracing::error!(destination = %to.name, "the queue cannot be read: {e}");
                tokio::time::sleep(LEAST_PAUSE).await;
            }
        }
    }
}

/// Takes a report that came over an association of the peer's own. Whether we had asked.
///
/// # Errors
/// Where it cannot be kept.
pub async fn reported(station: &Station, report: CommitReport) -> Result<bool, StoreError> {
    let failed = report.failed.into_iter().map(|(uid, reason)| {
        let (why, again) = reason_of(reason);
        (uid, why, again)
    });
    let again = now_us() + micros(LEAST_PAUSE);
    let known = station
        .store()
        .answered_deliveries(&report.transaction, report.committed, failed.collect(), again)
        .await?;
    station.sending().notify_waiters();
    Ok(known)
}

/// Why a peer does not answer for an object (PS3.3 C.14.1.1), and whether sending it again can help.
fn reason_of(reason: u16) -> (String, bool) {
    let (words, again) = match reason {
        0x0112 => ("it does not have it", true),
        0x0213 => ("it has no room", true),
        0x0110 => ("it failed while it looked", true),
        0x0122 => ("it answers for no objects of this class", false),
        0x0119 => ("it has another object under this number", false),
        0x0131 => ("it was asked twice under one number", true),
        _ => ("it does not say why", false),
    };
    (format!("it will not answer for it: {words} (reason {reason:04X})"), again)
}

/// How a destination is talked to.
enum Way {
    Peer(Peer),
    Web(WebPeer),
}

/// A way that is open.
enum Opened<'a> {
    Peer(Box<StoreLink<'a>>),
    Web(&'a WebPeer),
}

impl Way {
    async fn open(&self, objects: &[Outgoing]) -> Result<Opened<'_>, PeerError> {
        Ok(match self {
            Self::Peer(peer) => Opened::Peer(Box::new(StoreLink::open(peer, objects).await?)),
            Self::Web(web) => Opened::Web(web),
        })
    }

    async fn read_back(&self, objects: &[Instance]) -> Result<Vec<bool>, PeerError> {
        match self {
            Self::Peer(peer) => read_back(peer, objects).await,
            Self::Web(web) => web.find(objects).await,
        }
    }
}

impl Opened<'_> {
    async fn store(&mut self, object: &Outgoing, file: &Bytes) -> Result<Stored, PeerError> {
        match self {
            Self::Peer(link) => link.store(object, file).await,
            Self::Web(web) => web.store(&object.instance, file.clone()).await,
        }
    }

    async fn release(self) {
        if let Self::Peer(link) = self {
            link.release().await;
        }
    }
}

enum Trouble {
    Peer(PeerError),
    Store(StoreError),
}

impl From<StoreError> for Trouble {
    fn from(e: StoreError) -> Self {
        Self::Store(e)
    }
}

impl From<PeerError> for Trouble {
    fn from(e: PeerError) -> Self {
        Self::Peer(e)
    }
}

/// Does what is due; whether there was anything.
async fn round(station: &Station, to: &Destination, way: &Way) -> Result<bool, Trouble> {
    let store = station.store();
    let waiting = store.due_deliveries(&to.name, DeliveryState::Waiting, now_us(), TOGETHER).await?;
    if !waiting.is_empty() {
        send(station, way, waiting).await?;
        return Ok(true);
    }
    // Nobody answered in time: asked again.
    let late = store.due_deliveries(&to.name, DeliveryState::Asked, now_us(), ASKED_TOGETHER).await?;
    if !late.is_empty() {
        let again = |d: &Delivery| {
            let why = "it was asked to answer for it, and no answer came".to_owned();
            (d.id, in_vain(d, DeliveryState::Stored, why))
        };
        store.step_deliveries(late.iter().map(again).collect()).await?;
        return Ok(true);
    }
    let stored = store.due_deliveries(&to.name, DeliveryState::Stored, now_us(), ASKED_TOGETHER).await?;
    if stored.is_empty() {
        return Ok(false);
    }
    match (to.proof(), way) {
        (Proof::Commitment, Way::Peer(peer)) => commit(station, peer, &stored).await?,
        _ => look_up(station, way, &stored).await?,
    }
    Ok(true)
}

/// Sends over one association. What was in flight when the peer went away is counted against that object alone, so that one
/// that no peer survives does not keep the others from leaving.
async fn send(station: &Station, way: &Way, waiting: Vec<Delivery>) -> Result<(), Trouble> {
    let (sound, kinds) = described(station, waiting).await?;
    if sound.is_empty() {
        return Ok(());
    }
    let mut link = match way.open(&kinds).await {
        Ok(link) => link,
        // It is there, and takes no object of these kinds: others may still go.
        Err(e @ PeerError::NothingTaken { .. }) => {
            let never = |(d, o): (&Delivery, &Outgoing)| {
                let (class, syntax) = (&o.instance.class_uid, &o.syntax);
                let why = format!(
                    "it takes no objects of class {class} in transfer syntax {syntax}. {}",
                    e.remedy()
                );
                (d.id, DeliveryStep::Failed { why })
            };
            return Ok(station
                .store()
                .step_deliveries(sound.iter().zip(&kinds).map(never).collect())
                .await?);
        }
        Err(e) => return Err(e.into()),
    };
    for (delivery, object) in sound.iter().zip(&kinds) {
        let bytes = match whole(station, delivery).await {
            Ok(bytes) => bytes,
            Err(why) => {
                station.store().step_deliveries(vec![(delivery.id, DeliveryStep::Failed { why })]).await?;
                continue;
            }
        };
        let step = match link.store(object, &bytes).await {
            Ok(Stored::Kept(warning)) => {
                if let Some(w) = warning {
                    tracing::info!(delivery = delivery.id, "stored with a warning: {w}");
                }
                let Instance { class_uid, study_uid, series_uid, .. } = object.instance.clone();
                DeliveryStep::Stored { sent_as: SentAs { class_uid, study_uid, series_uid } }
            }
            Ok(Stored::Later(why)) => {
                in_vain(delivery, DeliveryState::Waiting, format!("it cannot take it now: {why}"))
            }
            Ok(Stored::Never(why)) => DeliveryStep::Failed { why: format!("it will not take it: {why}") },
            Err(e) => {
                let why = format!("{e} while it was sent");
                let step = in_vain(delivery, DeliveryState::Waiting, why);
                station.store().step_deliveries(vec![(delivery.id, step)]).await?;
                return Err(e.into());
            }
        };
        station.store().step_deliveries(vec![(delivery.id, step)]).await?;
    }
    link.release().await;
    Ok(())
}

/// Has the peer answer for what it stored.
async fn commit(station: &Station, peer: &Peer, stored: &[Delivery]) -> Result<(), Trouble> {
    let transaction = uid::fresh();
    let again_us = now_us() + micros(ANSWER_WITHIN);
    // Kept before it is asked: the answer may come over another association before this one ends.
    let asked = |d: &Delivery| (d.id, DeliveryStep::Asked { transaction: transaction.clone(), again_us });
    station.store().step_deliveries(stored.iter().map(asked).collect()).await?;
    match ask_commitment(peer, &transaction, &instances(stored), AT_ONCE).await {
        Ok(Some(report)) => {
            reported(station, report).await?;
        }
        Ok(None) => {}
        Err(e) => {
            let back = |d: &Delivery| (d.id, in_vain(d, DeliveryState::Stored, e.to_string()));
            station.store().step_deliveries(stored.iter().map(back).collect()).await?;
            return Err(e.into());
        }
    }
    Ok(())
}

/// Looks whether the peer finds what it stored.
async fn look_up(station: &Station, way: &Way, stored: &[Delivery]) -> Result<(), Trouble> {
    let there = way.read_back(&instances(stored)).await?;
    let steps = stored.iter().zip(there).map(|(d, there)| {
        let step = if there {
            DeliveryStep::Done { how: "it was stored with success and found by query".to_owned() }
        } else {
            in_vain(d, DeliveryState::Stored, "it said that it stored it, and does not find it".to_owned())
        };
        (d.id, step)
    });
    Ok(station.store().step_deliveries(steps.collect()).await?)
}

fn instances(stored: &[Delivery]) -> Vec<Instance> {
    let one = |d: &Delivery| {
        let SentAs { class_uid, study_uid, series_uid } = d.sent_as.clone().unwrap_or_default();
        Instance { class_uid, study_uid, series_uid, instance_uid: d.instance_uid.clone() }
    };
    stored.iter().map(one).collect()
}

/// What each file says of itself; one that cannot be sent at all fails here.
async fn described(station: &Station, all: Vec<Delivery>) -> Result<(Vec<Delivery>, Vec<Outgoing>), Trouble> {
    let mut out = (Vec::with_capacity(all.len()), Vec::with_capacity(all.len()));
    for delivery in all {
        let described = match station.store().read_delivery(&delivery).await {
            Ok(bytes) => outgoing(&bytes).map_err(|e| format!("{}: {e}. {}.", delivery.name, e.remedy())),
            Err(e) => Err(format!("{}: {e}", delivery.name)),
        };
        match described {
            Ok(object) => {
                out.0.push(delivery);
                out.1.push(object);
            }
            Err(why) => {
                station.store().step_deliveries(vec![(delivery.id, DeliveryStep::Failed { why })]).await?;
            }
        }
    }
    Ok(out)
}

/// A file's bytes, which are those that were kept.
async fn whole(station: &Station, d: &Delivery) -> Result<Bytes, String> {
    let bytes = station.store().read_delivery(d).await.map_err(|e| format!("{}: {e}", d.name))?;
    let (copy, want) = (bytes.clone(), d.sha256.clone());
    let same = tokio::task::spawn_blocking(move || hex::encode(Sha256::digest(&copy)) == want).await;
    if same.unwrap_or(false) {
        return Ok(bytes);
    }
    Err(format!("{}: the kept file has changed; run `serrata verify` on the data folder", d.name))
}

/// Another try later from this state, or a person where it was tried often enough.
fn in_vain(d: &Delivery, state: DeliveryState, why: String) -> DeliveryStep {
    if d.tries + 1 >= TRIES {
        return DeliveryStep::Failed { why: format!("{why}; it was tried {TRIES} times") };
    }
    DeliveryStep::Later { state, why, next_us: now_us() + micros(pause(d.tries + 1)) }
}

/// Pause after that many failures in a row.
fn pause(failures: u32) -> Duration {
    LONGEST_PAUSE.min(LEAST_PAUSE * 2u32.saturating_pow(failures.saturating_sub(1).min(16)))
}

/// Sleeps until the next delivery is due, or somebody queues one.
async fn rest(station: &Station, name: &str) {
    // Listening begins before the look, so that nothing that is queued between is slept through.
    let woken = station.sending().notified();
    tokio::pin!(woken);
    woken.as_mut().enable();
    let next = station.store().next_delivery_us(name).await.ok().flatten();
    let until =
        next.map_or(NAP, |us| Duration::from_micros(us.saturating_sub(now_us()).max(0).unsigned_abs()));
    let _ = tokio::time::timeout(until.clamp(Duration::from_millis(20), NAP), woken).await; // woken or not, look again
}

fn micros(d: Duration) -> i64 {
    i64::try_from(d.as_micros()).unwrap_or(i64::MAX)
}

fn now_us() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_double_up_to_ten_minutes() {
        let s = |n| pause(n).as_secs();
        assert_eq!([s(1), s(2), s(3), s(8), s(9), s(10), s(40)], [2, 4, 8, 256, 512, 600, 600]);
    }

    #[test]
    fn an_object_that_is_not_there_is_sent_again_and_a_clash_needs_a_person() {
        assert!(reason_of(0x0112).1);
        assert!(!reason_of(0x0119).1);
        assert!(reason_of(0x0112).0.contains("does not have it"));
    }
}
