//! One association with a worklist, message by message.

use super::{WorklistError, WorklistQuery, WorklistServer};
use crate::data::set::{DataSet, Encoding};
use crate::write::build::Build;
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use dicom_ul::association::Error;
use dicom_ul::association::client::{AsyncClientAssociation, ClientAssociationOptions};
use dicom_ul::pdu::{PDataValue, PDataValueType, Pdu};
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout, timeout_at};

/// Modality Worklist Information Model, FIND.
const WORKLIST: &str = "1.2.840.10008.5.1.4.31";
const EXPLICIT: &str = "1.2.840.10008.1.2.1";
const IMPLICIT: &str = "1.2.840.10008.1.2";

const FIND: u16 = 0x0020;
const FIND_ANSWER: u16 = 0x8020;
const CANCEL: u16 = 0x0FFF;
const NO_DATA: u16 = 0x0101;

/// Message ID of our only question.
const QUESTION: u16 = 1;

/// Longest command and longest entry that are taken, in bytes (judgement: real ones have a few kilobytes).
const LONGEST: usize = 1 << 20;

/// How long a farewell may take.
const FAREWELL: Duration = Duration::from_secs(1);

/// What the server said next.
pub(super) enum Turn {
    /// An entry's data set.
    Entry(Vec<u8>),
    /// There are no more.
    End,
}

/// An association with a worklist.
pub(super) struct Exchange<'a> {
    server: &'a WorklistServer,
    peer: AsyncClientAssociation<TcpStream>,
    context: u8,
    explicit: bool,
    deadline: Instant,
    waiting: std::collections::VecDeque<PDataValue>,
}

impl<'a> Exchange<'a> {
    /// Connects and agrees on the terms.
    pub(super) async fn open(server: &'a WorklistServer, deadline: Instant) -> Result<Self, WorklistError> {
        let options = ClientAssociationOptions::new()
            .calling_ae_title(server.calling.clone())
            .called_ae_title(server.called.clone())
            .read_timeout(server.silence)
            .write_timeout(server.silence)
            .connection_timeout(server.silence)
            .with_presentation_context(WORKLIST, vec![EXPLICIT, IMPLICIT]);
        let opening = timeout(server.silence, options.establish_async(server.address.as_str()));
        let peer = opening.await.map_err(|_| too_slow(server))?.map_err(|e| told(server, &e))?;
        let agreed = peer.presentation_contexts().first().map(|c| (c.id, c.transfer_syntax.clone()));
        let (context, syntax) = agreed.ok_or_else(|| refused(server, "it offers no worklist".to_owned()))?;
        let explicit = syntax.trim_end_matches(['\0', ' ']) == EXPLICIT;
        Ok(Self { server, peer, context, explicit, deadline, waiting: std::collections::VecDeque::new() })
    }

    /// How entries are written.
    pub(super) const fn encoding(&self) -> Encoding {
        if self.explicit { Encoding::EXPLICIT } else { Encoding::IMPLICIT }
    }

    /// Sends the question.
    pub(super) async fn ask(&mut self, query: &WorklistQuery) -> Result<(), WorklistError> {
        let mut command = Build::default();
        command
            .text(tags::AFFECTED_SOP_CLASS_UID, VR::UI, WORKLIST)
            .value(tags::COMMAND_FIELD, VR::US, FIND)
            .value(tags::MESSAGE_ID, VR::US, QUESTION)
            .value(tags::PRIORITY, VR::US, 0u16)
            .value(tags::COMMAND_DATA_SET_TYPE, VR::US, 1u16);
        let command = self.command(command)?;
        let identifier =
            query.identifier(self.explicit).map_err(|e| not_understood(self.server, e.to_string()))?;
        self.send(PDataValueType::Command, command).await?;
        self.send(PDataValueType::Data, identifier).await
    }

    /// What the server says next.
    pub(super) async fn next(&mut self) -> Result<Turn, WorklistError> {
        let command = self.message(&PDataValueType::Command).await?;
        let server = self.server;
        let set = DataSet::parse(&command, Encoding::IMPLICIT, Tag(0x0000, 0xFFFF))
            .map_err(|e| not_understood(server, e.to_string()))?;
        if set.u16(tags::COMMAND_FIELD) != Some(FIND_ANSWER) {
            return Err(not_understood(server, "it sent something other than an answer".to_owned()));
        }
        let status = set.u16(tags::STATUS).unwrap_or(0xC000);
        let has_data = set.u16(tags::COMMAND_DATA_SET_TYPE).is_some_and(|t| t != NO_DATA);
        let comment = set.text(tags::ERROR_COMMENT).map(|c| format!(": {c}")).unwrap_or_default();
        match status {
            0x0000 => Ok(Turn::End),
            // Pending, with or without support of every key.
            0xFF00 | 0xFF01 if has_data => Ok(Turn::Entry(self.message(&PDataValueType::Data).await?)),
            0xFF00 | 0xFF01 => Err(not_understood(server, "an entry came without data".to_owned())),
            status => Err(WorklistError::Failed { address: server.address.clone(), status, comment }),
        }
    }

    /// Tells the server to stop, and leaves.
    pub(super) async fn cancel(mut self) {
        let mut command = Build::default();
        command
            .value(tags::COMMAND_FIELD, VR::US, CANCEL)
            .value(tags::MESSAGE_ID_BEING_RESPONDED_TO, VR::US, QUESTION)
            .value(tags::COMMAND_DATA_SET_TYPE, VR::US, NO_DATA);
        if let Ok(command) = self.command(command) {
            let _ = self.send(PDataValueType::Command, command).await; // it may have gone away
        }
        self.abort().await;
    }

    /// Leaves in good order.
    pub(super) async fn release(self) {
        let _ = timeout(FAREWELL, self.peer.release()).await; // what was asked for is here
    }

    /// Leaves at once.
    pub(super) async fn abort(self) {
        let _ = timeout(FAREWELL, self.peer.abort()).await; // it may have gone away
    }

    /// A command set with its group length.
    fn command(&self, command: Build) -> Result<Vec<u8>, WorklistError> {
        let mut body = Vec::new();
        command.write_implicit(&mut body).map_err(|e| not_understood(self.server, e.to_string()))?;
        let length = u32::try_from(body.len()).unwrap_or(u32::MAX);
        let mut out = vec![0, 0, 0, 0, 4, 0, 0, 0];
        out.extend_from_slice(&length.to_le_bytes());
        out.extend_from_slice(&body);
        Ok(out)
    }

    /// Sends one part. Ours fit into one PDU of any size that the standard allows.
    async fn send(&mut self, value_type: PDataValueType, data: Vec<u8>) -> Result<(), WorklistError> {
        let part = PDataValue { presentation_context_id: self.context, value_type, is_last: true, data };
        let pdu = Pdu::PData { data: vec![part] };
        timeout(self.server.silence, self.peer.send(&pdu))
            .await
            .map_err(|_| too_slow(self.server))?
            .map_err(|e| told(self.server, &e))
    }

    /// Collects a whole message of one kind.
    async fn message(&mut self, kind: &PDataValueType) -> Result<Vec<u8>, WorklistError> {
        let mut out = Vec::new();
        loop {
            let part = self.part().await?;
            if part.value_type != *kind || part.presentation_context_id != self.context {
                return Err(not_understood(self.server, "its messages are out of order".to_owned()));
            }
            if out.len() + part.data.len() > LONGEST {
                return Err(not_understood(self.server, "one entry is larger than 1 MB".to_owned()));
            }
            out.extend_from_slice(&part.data);
            if part.is_last {
                return Ok(out);
            }
        }
    }

    async fn part(&mut self) -> Result<PDataValue, WorklistError> {
        loop {
            if let Some(part) = self.waiting.pop_front() {
                return Ok(part);
            }
            let until = self.deadline.min(Instant::now() + self.server.silence);
            let pdu = timeout_at(until, self.peer.receive())
                .await
                .map_err(|_| too_slow(self.server))?
                .map_err(|e| told(self.server, &e))?;
            match pdu {
                Pdu::PData { data } => self.waiting.extend(data),
                Pdu::AbortRQ { .. } => return Err(no_answer(self.server, "it hung up".to_owned())),
                _ => return Err(not_understood(self.server, "it sent something other than data".to_owned())),
            }
        }
    }
}

fn too_slow(server: &WorklistServer) -> WorklistError {
    WorklistError::TooSlow { address: server.address.clone(), seconds: server.silence.as_secs() }
}

fn no_answer(server: &WorklistServer, detail: String) -> WorklistError {
    WorklistError::NoAnswer { address: server.address.clone(), detail }
}

fn refused(server: &WorklistServer, detail: String) -> WorklistError {
    WorklistError::Refused { address: server.address.clone(), detail }
}

fn not_understood(server: &WorklistServer, detail: String) -> WorklistError {
    WorklistError::Protocol { address: server.address.clone(), detail }
}

/// An error of the upper layer in our words.
fn told(server: &WorklistServer, e: &Error) -> WorklistError {
    match e {
        Error::Rejected { .. } | Error::NoAcceptedPresentationContexts { .. } => {
            refused(server, e.to_string())
        }
        Error::Timeout { .. } => too_slow(server),
        Error::Connect { source, .. } => no_answer(server, source.to_string()),
        Error::ToAddress { .. } => no_answer(server, "there is no such host".to_owned()),
        Error::UnexpectedPdu { .. } | Error::UnknownPdu { .. } => {
            not_understood(server, "it sent something other than an answer".to_owned())
        }
        other => no_answer(server, other.to_string()),
    }
}
