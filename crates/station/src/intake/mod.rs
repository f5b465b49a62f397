//! Intake: how frames come in. Whatever the way, a file is kept first and looked at afterwards.

pub mod folder;
pub mod storage;

use crate::Station;
use crate::reading::{Seen, look};
use crate::work::observe_work;
use serrata_store::{Accepted, By, Incoming, NewFrame, Person, Source, StoreError};

/// Keeps a file with its frames and their work, and wakes the workers. Files that cannot be read are kept as well:
/// their frame ends as failed, with the reason, so that a person sees it.
///
/// # Errors
/// Where the store cannot keep it; then nothing of it is kept.
pub async fn take(
    station: &Station,
    name: &str,
    source: Source,
    bytes: Vec<u8>,
) -> Result<Accepted, StoreError> {
    let bytes = bytes::Bytes::from(bytes);
    let copy = bytes.clone();
    let seen = station.pixels(move || look(&copy)).await.unwrap_or_default();
    take_seen(station, name, source, bytes, seen).await
}

/// As [`take`], for a file whose header was read already.
///
/// # Errors
/// Where the store cannot keep it.
pub async fn take_seen(
    station: &Station,
    name: &str,
    source: Source,
    bytes: bytes::Bytes,
    seen: Seen,
) -> Result<Accepted, StoreError> {
    let frames = (0..seen.frames.max(1))
        .map(|index| {
            let mut frame = NewFrame::new(index, seen.width, seen.height);
            frame.facts = seen.facts.clone();
            let work = observe_work(&frame.facts, None);
            frame.with_work(work)
        })
        .collect();
    let mut incoming =
        Incoming::new(name, source, jiff::Timestamp::now().as_microsecond(), bytes).with_frames(frames);
    incoming.class_uid = seen.facts.class_uid.clone();
    incoming.instance_uid = seen.facts.instance_uid.clone();
    incoming.study_uid = seen.facts.study_uid.clone();
    incoming.person = seen.person.map(|p| Person {
        id: p.id,
        name: p.name,
        birth_date: (!p.birth_date.reveal().is_empty()).then_some(p.birth_date),
        sex: (!p.sex.reveal().is_empty()).then_some(p.sex),
    });
    let accepted = station.store().accept(incoming, &By::station()).await?;
    station.wake();
    Ok(accepted)
}
