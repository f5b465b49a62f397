//! One association with a worklist, message by message.

use super::link::{EXPLICIT, IMPLICIT, Link, NO_DATA, request};
use super::peer::Peer;
use super::{WorklistError, WorklistQuery};
use crate::data::set::Encoding;
use crate::write::build::Build;
use dicom_core::VR;
use dicom_dictionary_std::tags;
use tokio::time::Instant;

/// Modality Worklist Information Model, FIND.
const WORKLIST: &str = "1.2.840.10008.5.1.4.31";

const FIND: u16 = 0x0020;
const FIND_ANSWER: u16 = 0x8020;
const CANCEL: u16 = 0x0FFF;

/// What the server said next.
pub(super) enum Turn {
    /// An entry's data set.
    Entry(Vec<u8>),
    /// There are no more.
    End,
}

/// An association with a worklist.
pub(super) struct Exchange<'a> {
    link: Link<'a>,
    context: u8,
    explicit: bool,
    question: u16,
}

impl<'a> Exchange<'a> {
    /// Connects and agrees on the terms.
    pub(super) async fn open(peer: &'a Peer, deadline: Instant) -> Result<Self, WorklistError> {
        let offer = (WORKLIST.to_owned(), vec![EXPLICIT.to_owned(), IMPLICIT.to_owned()]);
        let link = Link::open(peer, &[offer], deadline).await.map_err(peer.without("worklist"))?;
        let (context, explicit) =
            link.context(WORKLIST, None).ok_or_else(|| peer.refused("it offers no worklist"))?;
        Ok(Self { link, context, explicit, question: 0 })
    }

    /// How entries are written.
    pub(super) const fn encoding(&self) -> Encoding {
        if self.explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT }
    }

    /// Sends the question.
    pub(super) async fn ask(&mut self, query: &WorklistQuery) -> Result<(), WorklistError> {
        let peer = self.link.peer();
        let identifier = query.identifier(self.explicit).map_err(|e| peer.not_understood(e.to_string()))?;
        self.question = self.link.next_id();
        self.link.command(self.context, request(FIND, self.question, WORKLIST, None, true)).await?;
        Ok(self.link.data(self.context, &identifier).await?)
    }

    /// What the server says next.
    pub(super) async fn next(&mut self) -> Result<Turn, WorklistError> {
        let message = self.link.answer(FIND_ANSWER, self.question).await?;
        let peer = self.link.peer();
        match (message.status, message.data) {
            (0x0000, _) => Ok(Turn::End),
            // Pending, with or without support of every key.
            (0xFF00 | 0xFF01, Some(entry)) => Ok(Turn::Entry(entry)),
            (0xFF00 | 0xFF01, None) => Err(peer.not_understood("an entry came without data").into()),
            (status, _) => {
                Err(WorklistError::Failed { address: peer.address.clone(), status, comment: message.comment })
            }
        }
    }

    /// Tells the server to stop, and leaves.
    pub(super) async fn cancel(mut self) {
        let mut command = Build::default();
        command
            .value(tags::COMMAND_FIELD, VR::US, CANCEL)
            .value(tags::MESSAGE_ID_BEING_RESPONDED_TO, VR::US, self.question)
            .value(tags::COMMAND_DATA_SET_TYPE, VR::US, NO_DATA);
        let _ = self.link.command(self.context, command).await; // it may have gone away
        self.link.abort().await;
    }

    /// Leaves in good order.
    pub(super) async fn release(self) {
        self.link.release().await;
    }

    /// Leaves at once.
    pub(super) async fn abort(self) {
        self.link.abort().await;
    }
}
