//! One association: messages in, answers out.

use super::dimse::{Kind, Request, status};
use super::negotiation;
use super::stream::{self, Step, Terms};
use super::{Received, Refusal, ScpOptions, Sink};
use crate::data::part10;
use crate::scu::{COMMITMENT, read_report};
use crate::syntax::Syntax;
use crate::uid;
use dicom_ul::association::Association;
use dicom_ul::association::server::AsyncServerAssociation;
use dicom_ul::pdu::{PDataValue, PDataValueType, Pdu};
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::sync::watch;

/// Longest command set that is taken, in bytes (judgement: real ones have a few hundred).
const COMMAND_BYTES: usize = 64 * 1024;

/// How long an idle peer has to release once the service stops (judgement: a round trip and a disk on its side).
const FAREWELL: Duration = Duration::from_secs(1);

/// Why an association ended other than by a release.
#[derive(Debug, thiserror::Error)]
pub(super) enum Ended {
    #[error("{0}")]
    Network(String),
    #[error("the peer broke the protocol: {0}")]
    Protocol(&'static str),
}

impl From<dicom_ul::association::Error> for Ended {
    fn from(e: dicom_ul::association::Error) -> Self {
        Self::Network(e.to_string())
    }
}

/// A message that is coming in.
#[derive(Default)]
struct Incoming {
    command: Vec<u8>,
    store: Option<Store>,
}

/// A C-STORE whose data set is coming in.
struct Store {
    request: Request,
    context: u8,
    syntax: String,
    file: Vec<u8>,
    /// Where the data set starts in the file.
    start: usize,
    refusal: Option<(u16, String)>,
}

/// Serves one peer until it releases, aborts, is silent for too long, or the service stops.
pub(super) async fn serve_one(
    stream: TcpStream,
    options: &ScpOptions,
    sink: &dyn Sink,
    mut stopping: watch::Receiver<bool>,
) -> Result<(), Ended> {
    // Answers are small and awaited: they must not wait for more.
    stream.set_nodelay(true).map_err(|e| Ended::Network(e.to_string()))?;
    let acceptor = negotiation::acceptor(options);
    let mut peer = tokio::select! {
        peer = acceptor.establish_async(stream) => peer?,
        () = stopped(&mut stopping) => return Ok(()),
    };
    let mut incoming = Incoming::default();
    loop {
        let idle = incoming.command.is_empty() && incoming.store.is_none();
        let pdu = tokio::select! {
            pdu = peer.receive() => pdu,
            () = stopped(&mut stopping), if idle => return part_ways(peer).await,
        };
        match pdu {
            Ok(Pdu::PData { data }) => {
                if let Err(e) = take_all(&mut peer, &mut incoming, data, options, sink).await {
                    let _ = peer.abort().await;
                    return Err(e);
                }
            }
            Ok(Pdu::ReleaseRQ) => {
                peer.send(&Pdu::ReleaseRP).await?;
                return Ok(());
            }
            Ok(Pdu::AbortRQ { .. }) => return Ok(()),
            Ok(_) => {
                let _ = peer.abort().await;
                return Err(Ended::Protocol("it sent something other than data"));
            }
            Err(e) => {
                let _ = peer.abort().await;
                return Err(e.into());
            }
        }
    }
}

/// Resolves when the service stops.
async fn stopped(stopping: &mut watch::Receiver<bool>) {
    // An error means that the service itself is gone.
    let _ = stopping.wait_for(|stop| *stop).await;
}

/// Lets a peer that is about to release do so, and aborts otherwise.
async fn part_ways(mut peer: AsyncServerAssociation<TcpStream>) -> Result<(), Ended> {
    if let Ok(Ok(Pdu::ReleaseRQ)) = tokio::time::timeout(FAREWELL, peer.receive()).await {
        return Ok(peer.send(&Pdu::ReleaseRP).await?);
    }
    Ok(peer.abort().await?)
}

/// Takes the pieces of one PDU, and then, where a data set is coming, the PDUs that follow.
async fn take_all(
    peer: &mut AsyncServerAssociation<TcpStream>,
    incoming: &mut Incoming,
    parts: Vec<PDataValue>,
    options: &ScpOptions,
    sink: &dyn Sink,
) -> Result<(), Ended> {
    for part in parts {
        take(peer, incoming, part, options, sink).await?;
    }
    let Some(store) = &mut incoming.store else { return Ok(()) };
    let terms = Terms {
        context: store.context,
        max_pdu: options.max_pdu,
        idle: options.idle,
        most: if store.refusal.is_none() { options.object_bytes } else { 0 },
    };
    let mut beyond = false;
    let step = stream::data_set(peer, terms, &mut store.file, &mut beyond).await?;
    if beyond && store.refusal.is_none() {
        store.refusal = Some(too_large());
    }
    if step == Step::Whole
        && let Some(store) = incoming.store.take()
    {
        conclude(peer, store, sink).await?;
    }
    Ok(())
}

/// Hands a whole data set over and answers.
async fn conclude(
    peer: &mut AsyncServerAssociation<TcpStream>,
    store: Store,
    sink: &dyn Sink,
) -> Result<(), Ended> {
    let context = store.context;
    let (request, code, comment) = finish(peer, store, sink).await;
    answer(peer, context, request.response(code, &comment)).await
}

fn too_large() -> (u16, String) {
    (status::OUT_OF_RESOURCES, "the object is larger than allowed".to_owned())
}

/// Takes one piece of a message; answers where it was the last.
async fn take(
    peer: &mut AsyncServerAssociation<TcpStream>,
    incoming: &mut Incoming,
    part: PDataValue,
    options: &ScpOptions,
    sink: &dyn Sink,
) -> Result<(), Ended> {
    let context = part.presentation_context_id;
    match (part.value_type, &mut incoming.store) {
        (PDataValueType::Command, None) => {
            if incoming.command.len() + part.data.len() > COMMAND_BYTES {
                return Err(Ended::Protocol("its command is too long"));
            }
            incoming.command.extend_from_slice(&part.data);
            if part.is_last {
                let command = std::mem::take(&mut incoming.command);
                let request =
                    Request::parse(&command).ok_or(Ended::Protocol("its command cannot be read"))?;
                incoming.store = begin(peer, request, context).await?;
            }
            Ok(())
        }
        (PDataValueType::Data, Some(store)) => {
            // Only what shares its PDU with the command comes this way.
            if store.context != context {
                return Err(Ended::Protocol("a piece of data belongs to no data set"));
            }
            if store.refusal.is_none() {
                if (store.file.len() + part.data.len()) as u64 > options.object_bytes {
                    store.refusal = Some(too_large());
                    store.file = Vec::new();
                } else {
                    store.file.extend_from_slice(&part.data);
                }
            }
            if let Some(store) = incoming.store.take_if(|_| part.is_last) {
                conclude(peer, store, sink).await?;
            }
            Ok(())
        }
        (PDataValueType::Command, Some(_)) => Err(Ended::Protocol("a command came inside a data set")),
        (PDataValueType::Data, None) => Err(Ended::Protocol("a data set came without a command")),
    }
}

/// Answers a request without data, or prepares for the data set of one with it.
async fn begin(
    peer: &mut AsyncServerAssociation<TcpStream>,
    request: Request,
    context: u8,
) -> Result<Option<Store>, Ended> {
    let agreed = peer.presentation_contexts().iter().find(|c| c.id == context);
    let (class, syntax) = agreed
        .map(|c| (c.abstract_syntax.clone(), c.transfer_syntax.trim_end_matches(['\0', ' ']).to_owned()))
        .ok_or(Ended::Protocol("its message is in no agreed presentation context"))?;
    let refusal = match request.kind {
        Kind::Echo if !request.has_data => {
            answer(peer, context, request.response(status::SUCCESS, "")).await?;
            return Ok(None);
        }
        Kind::Cancel if !request.has_data => return Ok(None),
        Kind::Store if !request.has_data => {
            return Err(Ended::Protocol("it asked to store an object without sending one"));
        }
        Kind::Store if class == COMMITMENT => Some((status::CLASS_NOT_SUPPORTED, String::new())),
        Kind::Store if request.class_uid != class => {
            Some((status::CLASS_NOT_SUPPORTED, "the class is not the one agreed on".to_owned()))
        }
        Kind::Store if !uid::is_valid(&request.instance_uid) => {
            Some((status::CANNOT_UNDERSTAND, "the SOP Instance UID is not valid".to_owned()))
        }
        Kind::Event if request.has_data && class == COMMITMENT => None,
        Kind::Store => None,
        Kind::Echo | Kind::Cancel | Kind::Event | Kind::Other(_) => {
            Some((status::UNRECOGNIZED_OPERATION, String::new()))
        }
    };
    if let (Some((code, comment)), false) = (&refusal, request.has_data) {
        answer(peer, context, request.response(*code, comment)).await?;
        return Ok(None);
    }
    let file = if refusal.is_none() && request.kind == Kind::Store {
        part10::opening(&request.class_uid, &request.instance_uid, &syntax, peer.peer_ae_title())
    } else {
        Vec::new()
    };
    Ok(Some(Store { start: file.len(), request, context, syntax, file, refusal }))
}

/// Hands a whole object over, and says what to answer.
async fn finish(
    peer: &AsyncServerAssociation<TcpStream>,
    store: Store,
    sink: &dyn Sink,
) -> (Request, u16, String) {
    let Store { request, syntax, file, start, refusal, .. } = store;
    if let Some((code, comment)) = refusal {
        return (request, code, comment);
    }
    if request.kind == Kind::Event {
        return match reported(&syntax, &file, sink).await {
            Ok(()) => (request, status::SUCCESS, String::new()),
            Err(refusal) => {
                let (code, comment) = told(&refusal);
                (request, code, comment)
            }
        };
    }
    if let Err(refusal) = check(&request, &syntax, &file[start..]) {
        let (code, comment) = told(&refusal);
        return (request, code, comment);
    }
    let bytes = file.len();
    let received = Received {
        file,
        class_uid: request.class_uid.clone(),
        instance_uid: request.instance_uid.clone(),
        calling: peer.peer_ae_title().trim().to_owned(),
        called: peer.called_ae_title().trim().to_owned(),
    };
    let calling = received.calling.clone();
    match sink.store(received).await {
        Ok(()) => {
            tracing::info!(%calling, instance = %request.instance_uid, bytes, "object received");
            (request, status::SUCCESS, String::new())
        }
        Err(refusal) => {
            tracing::warn!(%calling, instance = %request.instance_uid, "object refused: {refusal}");
            let (code, comment) = told(&refusal);
            (request, code, comment)
        }
    }
}

/// Hands a report on a storage commitment over.
async fn reported(syntax: &str, data: &[u8], sink: &dyn Sink) -> Result<(), Refusal> {
    let unknown = || Refusal::CannotUnderstand("the report cannot be read".to_owned());
    let encoding = Syntax::by_uid(syntax).map_err(|_| unknown())?.encoding;
    let report = read_report(data, encoding).ok_or_else(unknown)?;
    sink.committed(report).await
}

/// Whether the data set says the class and instance that the command said.
fn check(request: &Request, syntax: &str, data: &[u8]) -> Result<(), Refusal> {
    let said = part10::identity(syntax, data).map_err(|e| Refusal::CannotUnderstand(e.to_string()))?;
    if said != (request.class_uid.clone(), request.instance_uid.clone()) {
        return Err(Refusal::DoesNotMatchClass("class or instance differ from the command's".to_owned()));
    }
    Ok(())
}

fn told(refusal: &Refusal) -> (u16, String) {
    let code = match refusal {
        Refusal::OutOfResources(_) => status::OUT_OF_RESOURCES,
        Refusal::DoesNotMatchClass(_) => status::DOES_NOT_MATCH_CLASS,
        Refusal::CannotUnderstand(_) => status::CANNOT_UNDERSTAND,
    };
    (code, refusal.to_string())
}

/// Sends a command set. Ours fit into one PDU of any size that the standard allows.
async fn answer(
    peer: &mut AsyncServerAssociation<TcpStream>,
    context: u8,
    command: Vec<u8>,
) -> Result<(), Ended> {
    let part = PDataValue {
        presentation_context_id: context,
        value_type: PDataValueType::Command,
        is_last: true,
        data: command,
    };
    Ok(peer.send(&Pdu::PData { data: vec![part] }).await?)
}
