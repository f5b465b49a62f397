//! Objects to a peer: C-STORE (PS3.7 §9.1.1, PS3.4 annex B), byte for byte as they are kept.

use super::link::{Link, request};
use super::peer::{Peer, PeerError};
use crate::data::part10;
use crate::data::set::DataSet;
use crate::syntax::Syntax;
use crate::uid;
use dicom_dictionary_std::tags;
use serrata_frame::DecodeError;
use std::collections::BTreeSet;
use tokio::time::{Duration, Instant};

const STORE: u16 = 0x0001;
const STORE_ANSWER: u16 = 0x8001;

/// Most contexts of one association (PS3.8 §9.3.2: odd numbers up to 255).
const MOST_CONTEXTS: usize = 128;

/// How long one association may last: as long as it moves, its silence is what ends it.
const WHOLE: Duration = Duration::from_secs(24 * 3600);

/// An object by its numbers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Instance {
    /// SOP Class UID.
    pub class_uid: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// Study Instance UID.
    pub study_uid: String,
    /// Series Instance UID.
    pub series_uid: String,
}

/// What a file says of itself, as far as sending needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    /// Its numbers.
    pub instance: Instance,
    /// Transfer syntax of its data set.
    pub syntax: String,
    /// Where its data set starts, bytes.
    start: usize,
}

/// Reads what sending needs of a file; its data set is not touched.
///
/// # Errors
/// Where the bytes are no DICOM file, are damaged before the pixels, or name no class, instance or transfer syntax.
pub fn outgoing(bytes: &[u8]) -> Result<Outgoing, DecodeError> {
    let broken = |detail: &str| DecodeError::Broken { detail: detail.to_owned() };
    let (start, syntax) = part10::start_of(bytes)?;
    let syntax = syntax.ok_or_else(|| broken("its header names no transfer syntax, so it cannot be sent"))?;
    let file = part10::split(bytes, serrata_frame::Limits::default().bytes)?;
    if file.syntax.encoding != Syntax::by_uid(&syntax)?.encoding {
        return Err(broken("its data set is not written in the transfer syntax that its header names"));
    }
    let set = DataSet::parse(&file.data, file.syntax.encoding, tags::SERIES_INSTANCE_UID)?;
    let text = |tag| set.text(tag).unwrap_or_default();
    let instance = Instance {
        class_uid: text(tags::SOP_CLASS_UID),
        instance_uid: text(tags::SOP_INSTANCE_UID),
        study_uid: text(tags::STUDY_INSTANCE_UID),
        series_uid: text(tags::SERIES_INSTANCE_UID),
    };
    if ![&instance.class_uid, &instance.instance_uid].into_iter().all(|u| uid::is_valid(u)) {
        return Err(broken("it names no valid SOP class and instance, so no peer can take it"));
    }
    Ok(Outgoing { instance, syntax, start })
}

/// What a peer said to an object.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stored {
    /// It has it; with a warning where it said so (status Bxxx, or that it had it before).
    Kept(Option<String>),
    /// It cannot take it now (status A7xx): try again later.
    Later(String),
    /// It will not take this object: a person has to look.
    Never(String),
}

/// An association over which objects are sent.
pub struct StoreLink<'a>(Link<'a>);

impl<'a> StoreLink<'a> {
    /// Connects, and offers the classes and transfer syntaxes of these objects (at most 128 pairs; what is left out is told as
    /// [`Stored::Later`]).
    ///
    /// # Errors
    /// [`PeerError`] where it cannot be talked to, or takes none of them.
    pub async fn open(peer: &'a Peer, objects: &[Outgoing]) -> Result<Self, PeerError> {
        let pairs: BTreeSet<(&str, &str)> =
            objects.iter().map(|o| (o.instance.class_uid.as_str(), o.syntax.as_str())).collect();
        let offers: Vec<_> = pairs
            .into_iter()
            .take(MOST_CONTEXTS)
            .map(|(class, syntax)| (class.to_owned(), vec![syntax.to_owned()]))
            .collect();
        Ok(Self(Link::open(peer, &offers, Instant::now() + WHOLE).await?))
    }

    /// Sends one object, its data set byte for byte.
    ///
    /// # Errors
    /// [`PeerError`] where the peer went away or grew silent: whether it has the object is not known then.
    pub async fn store(&mut self, object: &Outgoing, file: &[u8]) -> Result<Stored, PeerError> {
        let Instance { class_uid: class, instance_uid, .. } = &object.instance;
        let Some((context, _)) = self.0.context(class, Some(&object.syntax)) else {
            let syntax = &object.syntax;
            return Ok(Stored::Never(format!(
                "it takes no objects of class {class} in transfer syntax {syntax}"
            )));
        };
        let id = self.0.next_id();
        let command = request(STORE, id, class, Some(instance_uid), true);
        self.0.command(context, command).await?;
        self.0.data(context, file.get(object.start..).unwrap_or_default()).await?;
        let answer = self.0.answer(STORE_ANSWER, id).await?;
        let text = format!("status {:04X}{}", answer.status, answer.comment);
        Ok(match answer.status {
            0x0000 => Stored::Kept(None),
            // Warnings (PS3.4 B.2.3): coerced, or not as its class asks; 0111: it had this instance before.
            0xB000..=0xBFFF | 0x0001 | 0x0107 | 0x0111 | 0x0116 => Stored::Kept(Some(text)),
            0xA700..=0xA7FF | 0x0110 | 0x0213 => Stored::Later(text),
            _ => Stored::Never(text),
        })
    }

    /// Leaves in good order.
    pub async fn release(self) {
        self.0.release().await;
    }
}
