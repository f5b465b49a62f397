//! Whether a peer finds what it was sent: C-FIND at the level of instances (PS3.4 annex C, study root).

use super::link::{EXPLICIT, IMPLICIT, Link, request};
use super::peer::{Peer, PeerError};
use super::store::Instance;
use crate::data::set::{DataSet, Encoding};
use crate::write::build::Build;
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use tokio::time::{Duration, Instant};

/// Study Root Query/Retrieve Information Model, FIND.
const STUDY_ROOT: &str = "1.2.840.10008.5.1.4.1.2.2.1";

const FIND: u16 = 0x0020;
const FIND_ANSWER: u16 = 0x8020;

/// Asks a peer for each of these objects by its UIDs; whether it names it.
///
/// # Errors
/// [`PeerError`] where it cannot be talked to, offers no query, or cannot search.
pub async fn read_back(peer: &Peer, objects: &[Instance]) -> Result<Vec<bool>, PeerError> {
    let offer = (STUDY_ROOT.to_owned(), vec![EXPLICIT.to_owned(), IMPLICIT.to_owned()]);
    let many = u32::try_from(objects.len()).unwrap_or(u32::MAX);
    let deadline = Instant::now() + peer.silence + Duration::from_secs(1) * many;
    let mut link = Link::open(peer, &[offer], deadline).await.map_err(peer.without("query"))?;
    let (context, explicit) =
        link.context(STUDY_ROOT, None).ok_or_else(|| peer.refused("it offers no query"))?;
    let encoding = if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT };
    let mut there = Vec::with_capacity(objects.len());
    for object in objects {
        let id = link.next_id();
        link.command(context, request(FIND, id, STUDY_ROOT, None, true)).await?;
        let question = question(object, explicit).map_err(|e| peer.not_understood(e.to_string()))?;
        link.data(context, &question).await?;
        let mut found = false;
        loop {
            let answer = link.answer(FIND_ANSWER, id).await?;
            match answer.status {
                0x0000 => break,
                0xFF00 | 0xFF01 => {
                    let set = answer
                        .data
                        .as_deref()
                        .and_then(|d| DataSet::parse(d, encoding, Tag(0xFFFF, 0xFFFF)).ok());
                    let named = set.and_then(|s| s.text(tags::SOP_INSTANCE_UID));
                    found |= named.as_deref() == Some(object.instance_uid.as_str());
                }
                status => {
                    let text = format!("it could not search: status {status:04X}{}", answer.comment);
                    link.abort().await;
                    return Err(peer.refused(text));
                }
            }
        }
        there.push(found);
    }
    link.release().await;
    Ok(there)
}

fn question(object: &Instance, explicit: bool) -> Result<Vec<u8>, crate::WriteError> {
    let mut set = Build::default();
    set.text(tags::QUERY_RETRIEVE_LEVEL, VR::CS, "IMAGE")
        .text(tags::STUDY_INSTANCE_UID, VR::UI, &object.study_uid)
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &object.series_uid)
        .text(tags::SOP_INSTANCE_UID, VR::UI, &object.instance_uid);
    let mut out = Vec::new();
    if explicit {
        set.write(&mut out)?;
    } else {
        set.write_implicit(&mut out)?;
    }
    Ok(out)
}
