//! Storage Commitment, push model (PS3.4 annex J): whether a peer answers for what it was sent.

use super::link::{EXPLICIT, IMPLICIT, Link, request};
use super::peer::{Peer, PeerError};
use super::store::Instance;
use crate::data::set::{DataSet, Encoding};
use crate::write::build::Build;
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use std::time::Duration;
use tokio::time::Instant;

/// Storage Commitment Push Model, and its well-known instance.
pub(crate) const COMMITMENT: &str = "1.2.840.10008.1.20.1";
const INSTANCE: &str = "1.2.840.10008.1.20.1.1";

const EVENT: u16 = 0x0100;
const EVENT_ANSWER: u16 = 0x8100;
const ACTION: u16 = 0x0130;
const ACTION_ANSWER: u16 = 0x8130;

/// What a peer says to a question of ours, now or later, over this association or one that it opens to us.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CommitReport {
    /// Transaction UID of the question.
    pub transaction: String,
    /// SOP Instance UIDs that it answers for.
    pub committed: Vec<String>,
    /// Those that it does not, each with its reason (PS3.3 C.14: 0112 no such instance, 0119 class/instance conflict).
    pub failed: Vec<(String, u16)>,
}

/// Asks a peer to answer for objects. Its report where it comes within `wait` over the same
/// association; else none, and the report comes over an association that it opens to us.
///
/// # Errors
/// [`PeerError`] where it cannot be talked to, offers no commitment, or refuses the question.
pub async fn ask_commitment(
    peer: &Peer,
    transaction: &str,
    objects: &[Instance],
    wait: Duration,
) -> Result<Option<CommitReport>, PeerError> {
    let deadline = Instant::now() + peer.silence + wait;
    let offer = (COMMITMENT.to_owned(), vec![EXPLICIT.to_owned(), IMPLICIT.to_owned()]);
    let none = peer.without("storage commitment");
    let mut link = Link::open(peer, &[offer], deadline).await.map_err(none)?;
    let (context, explicit) =
        link.context(COMMITMENT, None).ok_or_else(|| peer.refused("it offers no storage commitment"))?;
    let id = link.next_id();
    let mut command = request(ACTION, id, COMMITMENT, None, true);
    // An action names what it asks of as requested, not as affected.
    command.without(tags::AFFECTED_SOP_CLASS_UID).without(tags::PRIORITY);
    command
        .text(tags::REQUESTED_SOP_CLASS_UID, VR::UI, COMMITMENT)
        .text(tags::REQUESTED_SOP_INSTANCE_UID, VR::UI, INSTANCE)
        .value(tags::ACTION_TYPE_ID, VR::US, 1u16);
    link.command(context, command).await?;
    let question =
        question(transaction, objects, explicit).map_err(|e| peer.not_understood(e.to_string()))?;
    link.data(context, &question).await?;
    let answer = link.answer(ACTION_ANSWER, id).await?;
    if answer.status != 0 {
        let text = format!("it will not answer for objects: status {:04X}{}", answer.status, answer.comment);
        link.abort().await;
        return Err(peer.refused(text));
    }
    let report = match tokio::time::timeout(wait, link.message()).await {
        Ok(Ok(event)) if event.field == EVENT => {
            let encoding = if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT };
            let report = event.data.as_deref().and_then(|d| read_report(d, encoding));
            let mut thanks = Build::default();
            thanks
                .text(tags::AFFECTED_SOP_CLASS_UID, VR::UI, COMMITMENT)
                .value(tags::COMMAND_FIELD, VR::US, EVENT_ANSWER)
                .value(tags::MESSAGE_ID_BEING_RESPONDED_TO, VR::US, event.id)
                .value(tags::COMMAND_DATA_SET_TYPE, VR::US, super::link::NO_DATA)
                .value(tags::STATUS, VR::US, if report.is_some() { 0u16 } else { 0xC000 });
            let _ = link.command(event.context, thanks).await; // it asks again where it heard nothing
            report
        }
        // Silence, or a peer that leaves: its report comes by itself.
        _ => None,
    };
    link.release().await;
    Ok(report)
}

fn question(transaction: &str, objects: &[Instance], explicit: bool) -> Result<Vec<u8>, crate::WriteError> {
    let items = objects.iter().map(|o| {
        let mut item = Build::default();
        item.text(tags::REFERENCED_SOP_CLASS_UID, VR::UI, &o.class_uid).text(
            tags::REFERENCED_SOP_INSTANCE_UID,
            VR::UI,
            &o.instance_uid,
        );
        item
    });
    let mut set = Build::default();
    set.text(tags::TRANSACTION_UID, VR::UI, transaction)
        .items(tags::REFERENCED_SOP_SEQUENCE, items.collect());
    let mut out = Vec::new();
    if explicit {
        set.write(&mut out)?;
    } else {
        set.write_implicit(&mut out)?;
    }
    Ok(out)
}

/// Reads a report; none where it cannot be read or names no transaction.
pub(crate) fn read_report(data: &[u8], encoding: Encoding) -> Option<CommitReport> {
    let set = DataSet::parse(data, encoding, Tag(0xFFFF, 0xFFFF)).ok()?;
    let instance = |item: &DataSet<'_>| item.text(tags::REFERENCED_SOP_INSTANCE_UID);
    Some(CommitReport {
        transaction: set.text(tags::TRANSACTION_UID)?,
        committed: set.items(tags::REFERENCED_SOP_SEQUENCE).iter().filter_map(instance).collect(),
        failed: set
            .items(tags::FAILED_SOP_SEQUENCE)
            .iter()
            .filter_map(|i| Some((instance(i)?, i.u16(tags::FAILURE_REASON).unwrap_or(0x0110))))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_is_asked_reads_back_as_what_is_answered(
            transaction in "2\\.25\\.[1-9][0-9]{0,30}", uids in prop::collection::vec("2\\.25\\.[1-9][0-9]{0,30}", 0..20), explicit: bool,
        ) {
            let class_uid = "1.2.840.10008.5.1.4.1.1.77.1.5.1".to_owned();
            let one = |u: &String| Instance { class_uid: class_uid.clone(), instance_uid: u.clone(), ..Instance::default() };
            let objects: Vec<_> = uids.iter().map(one).collect();
            let encoding = if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT };
            // An answer that commits to all has the question's own form.
            let report = read_report(&question(&transaction, &objects, explicit).unwrap(), encoding).unwrap();
            prop_assert_eq!(report, CommitReport { transaction, committed: uids, failed: Vec::new() });
        }

        #[test]
        fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..300), explicit: bool) {
            let _ = read_report(&bytes, if explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT });
        }
    }
}
