//! One association that we opened, message by message.

use super::peer::{Peer, PeerError};
use crate::data::set::{DataSet, Encoding};
use crate::write::build::Build;
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use dicom_ul::association::client::{AsyncClientAssociation, ClientAssociationOptions};
use dicom_ul::pdu::{PDataValue, PDataValueType, Pdu};
use std::collections::VecDeque;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout, timeout_at};

pub(super) const EXPLICIT: &str = "1.2.840.10008.1.2.1";
pub(super) const IMPLICIT: &str = "1.2.840.10008.1.2";

/// Command Data Set Type that says there is no data set.
pub(super) const NO_DATA: u16 = 0x0101;

/// Longest command and longest data set that are taken, bytes (judgement: real ones have a few kilobytes; a commitment's
/// answer for ten thousand objects has two megabytes).
const LONGEST: usize = 8 << 20;

/// How much of a data set is handed to the network at once, bytes.
const PIECE: usize = 1 << 20;

/// How long a farewell may take.
const FAREWELL: Duration = Duration::from_secs(1);

/// A message of the peer: its command, and the data set that came with it.
pub(super) struct Message {
    pub field: u16,
    /// Message ID, or that of the request that this answers.
    pub id: u16,
    pub status: u16,
    /// The peer's comment after a colon, or empty.
    pub comment: String,
    pub context: u8,
    pub data: Option<Vec<u8>>,
}

/// What an association offers: a class, and the transfer syntaxes that its objects may have.
pub(super) type Offer = (String, Vec<String>);

/// An association.
pub(super) struct Link<'a> {
    peer: &'a Peer,
    network: AsyncClientAssociation<TcpStream>,
    deadline: Instant,
    waiting: VecDeque<PDataValue>,
    last_id: u16,
}

impl<'a> Link<'a> {
    /// Connects and agrees on the terms.
    pub(super) async fn open(peer: &'a Peer, offers: &[Offer], deadline: Instant) -> Result<Self, PeerError> {
        let mut options = ClientAssociationOptions::new()
            .calling_ae_title(peer.calling.clone())
            .called_ae_title(peer.called.clone())
            .max_pdu_length(131_072)
            .read_timeout(peer.silence)
            .write_timeout(peer.silence)
            .connection_timeout(peer.silence);
        for (class, syntaxes) in offers {
            options = options.with_presentation_context(class.clone(), syntaxes.clone());
        }
        let opening = timeout(peer.silence, options.establish_async(peer.address.as_str()));
        let mut network = opening.await.map_err(|_| peer.too_slow())?.map_err(|e| peer.told(&e))?;
        // Commands are small and awaited: they must not wait for more.
        let _ = network.inner_stream().set_nodelay(true); // slower without, nothing else
        Ok(Self { peer, network, deadline, waiting: VecDeque::new(), last_id: 0 })
    }

    pub(super) const fn peer(&self) -> &'a Peer {
        self.peer
    }

    /// The agreed context of a class, and whether its data sets are in explicit VR. With a syntax, the one of that syntax.
    pub(super) fn context(&self, class: &str, syntax: Option<&str>) -> Option<(u8, bool)> {
        let contexts = self.network.presentation_contexts().iter();
        contexts
            .map(|c| (c, c.transfer_syntax.trim_end_matches(['\0', ' '])))
            .find(|(c, agreed)| {
                c.abstract_syntax.trim_end_matches(['\0', ' ']) == class
                    && syntax.is_none_or(|s| s == *agreed)
            })
            .map(|(c, agreed)| (c.id, agreed != IMPLICIT))
    }

    /// A number for our next request.
    pub(super) const fn next_id(&mut self) -> u16 {
        self.last_id = self.last_id.wrapping_add(1);
        self.last_id
    }

    /// Sends a command.
    pub(super) async fn command(&mut self, context: u8, command: Build) -> Result<(), PeerError> {
        let mut body = Vec::new();
        command.write_implicit(&mut body).map_err(|e| self.peer.not_understood(e.to_string()))?;
        let length = u32::try_from(body.len()).unwrap_or(u32::MAX);
        let mut data = vec![0, 0, 0, 0, 4, 0, 0, 0];
        data.extend_from_slice(&length.to_le_bytes());
        data.extend_from_slice(&body);
        // Ours fit into one PDU of any size that the standard allows.
        let part = PDataValue {
            presentation_context_id: context,
            value_type: PDataValueType::Command,
            is_last: true,
            data,
        };
        timeout(self.peer.silence, self.network.send(&Pdu::PData { data: vec![part] }))
            .await
            .map_err(|_| self.peer.too_slow())?
            .map_err(|e| self.peer.told(&e))
    }

    /// Sends a data set, however long.
    pub(super) async fn data(&mut self, context: u8, data: &[u8]) -> Result<(), PeerError> {
        let peer = self.peer;
        let lost = |e: std::io::Error| peer.no_answer(e.to_string());
        let mut pieces = self.network.send_pdata(context);
        for piece in data.chunks(PIECE) {
            timeout(peer.silence, pieces.write_all(piece))
                .await
                .map_err(|_| peer.too_slow())?
                .map_err(lost)?;
        }
        timeout(peer.silence, pieces.finish()).await.map_err(|_| peer.too_slow())?.map_err(lost)
    }

    /// The peer's next message.
    pub(super) async fn message(&mut self) -> Result<Message, PeerError> {
        let (context, command) = self.whole(&PDataValueType::Command, None).await?;
        let set = DataSet::parse(&command, Encoding::IMPLICIT, Tag(0x0000, 0xFFFF))
            .map_err(|e| self.peer.not_understood(e.to_string()))?;
        let field = set.u16(tags::COMMAND_FIELD).unwrap_or(0);
        let id = set.u16(tags::MESSAGE_ID_BEING_RESPONDED_TO).or(set.u16(tags::MESSAGE_ID)).unwrap_or(0);
        let status = set.u16(tags::STATUS).unwrap_or(0xC000);
        let comment = set.text(tags::ERROR_COMMENT).map(|c| format!(": {c}")).unwrap_or_default();
        let has_data = set.u16(tags::COMMAND_DATA_SET_TYPE).is_some_and(|t| t != NO_DATA);
        let data = match has_data {
            true => Some(self.whole(&PDataValueType::Data, Some(context)).await?.1),
            false => None,
        };
        Ok(Message { field, id, status, comment, context, data })
    }

    /// The answer to a request of ours.
    pub(super) async fn answer(&mut self, field: u16, id: u16) -> Result<Message, PeerError> {
        let message = self.message().await?;
        if message.field != field || message.id != id {
            return Err(self.peer.not_understood("it sent something other than an answer"));
        }
        Ok(message)
    }

    /// Leaves in good order.
    pub(super) async fn release(self) {
        let _ = timeout(FAREWELL, self.network.release()).await; // what was asked for is here
    }

    /// Leaves at once.
    pub(super) async fn abort(self) {
        let _ = timeout(FAREWELL, self.network.abort()).await; // it may have gone away
    }

    /// Collects a whole command or data set.
    async fn whole(
        &mut self,
        kind: &PDataValueType,
        context: Option<u8>,
    ) -> Result<(u8, Vec<u8>), PeerError> {
        let mut out = Vec::new();
        let mut agreed = context;
        loop {
            let part = self.part().await?;
            if part.value_type != *kind || agreed.is_some_and(|c| c != part.presentation_context_id) {
                return Err(self.peer.not_understood("its messages are out of order"));
            }
            agreed = Some(part.presentation_context_id);
            if out.len() + part.data.len() > LONGEST {
                return Err(self.peer.not_understood("one message is larger than 8 MB"));
            }
            out.extend_from_slice(&part.data);
            if part.is_last {
                return Ok((part.presentation_context_id, out));
            }
        }
    }

    async fn part(&mut self) -> Result<PDataValue, PeerError> {
        loop {
            if let Some(part) = self.waiting.pop_front() {
                return Ok(part);
            }
            let until = self.deadline.min(Instant::now() + self.peer.silence);
            let pdu = timeout_at(until, self.network.receive())
                .await
                .map_err(|_| self.peer.too_slow())?
                .map_err(|e| self.peer.told(&e))?;
            match pdu {
                Pdu::PData { data } => self.waiting.extend(data),
                Pdu::AbortRQ { .. } => return Err(self.peer.no_answer("it hung up")),
                _ => return Err(self.peer.not_understood("it sent something other than data")),
            }
        }
    }
}

/// A request that names a class and, where there is one, an instance.
pub(super) fn request(field: u16, id: u16, class: &str, instance: Option<&str>, has_data: bool) -> Build {
    let mut command = Build::default();
    command
        .text(tags::AFFECTED_SOP_CLASS_UID, VR::UI, class)
        .value(tags::COMMAND_FIELD, VR::US, field)
        .value(tags::MESSAGE_ID, VR::US, id)
        .value(tags::PRIORITY, VR::US, 0u16)
        .value(tags::COMMAND_DATA_SET_TYPE, VR::US, if has_data { 1u16 } else { NO_DATA });
    if let Some(instance) = instance {
        command.text(tags::AFFECTED_SOP_INSTANCE_UID, VR::UI, instance);
    }
    command
}
