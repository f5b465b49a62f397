//! The storage service: accepts pictures from instruments over the network.
//!
//! * [`serve`]: the loop over connections, with limits and an end in good order;
//! * `association`: one peer, message by message;
//! * `stream`: a data set's bytes;
//! * `dimse`: the commands themselves, C-ECHO and C-STORE.

mod association;
mod dimse;
mod negotiation;
mod stream;

use crate::scu::CommitReport;
use serrata_frame::Limits;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinSet;

/// A boxed future, as [`Sink::store`] returns it.
pub type BoxFuture<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// An object as it came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Received {
    /// A whole file: preamble, meta group, then the data set's bytes exactly as they were received.
    pub file: Vec<u8>,
    /// SOP Class UID.
    pub class_uid: String,
    /// SOP Instance UID.
    pub instance_uid: String,
    /// AE title of the sender.
    pub calling: String,
    /// AE title that the sender called.
    pub called: String,
}

/// Why an object was not kept. The text goes back to the sender, so it names nobody.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// No room, no database, no time: status A700, the sender should try again later.
    #[error("out of resources: {0}")]
    OutOfResources(String),
    /// The data set is not what its class asks for: status A900.
    #[error("the data set does not match its class: {0}")]
    DoesNotMatchClass(String),
    /// The data set cannot be understood: status C000.
    #[error("cannot understand: {0}")]
    CannotUnderstand(String),
}

/// Where received objects go.
pub trait Sink: Send + Sync {
    /// Keeps one object. Only when the future has resolved to `Ok` is success told to the sender, so it must not
    /// resolve before the object is safe.
    ///
    /// # Errors
    /// A [`Refusal`], which becomes the status that the sender gets.
    fn store(&self, received: Received) -> BoxFuture<'_, Result<(), Refusal>>;

    /// Takes what a peer says to a storage commitment that was asked of it.
    ///
    /// # Errors
    /// A [`Refusal`] where nobody asked, or it cannot be kept: the peer tells it again then.
    fn committed(&self, report: CommitReport) -> BoxFuture<'_, Result<(), Refusal>> {
        Box::pin(async move {
            drop(report);
            Err(Refusal::CannotUnderstand("nothing was asked of you".to_owned()))
        })
    }
}

/// Settings of the service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ScpOptions {
    /// Our AE title.
    pub ae_title: String,
    /// Refuse senders that call another AE title.
    pub check_called: bool,
    /// Largest PDU that is taken, in bytes.
    pub max_pdu: u32,
    /// How long a peer may be silent, also in the middle of an object.
    pub idle: Duration,
    /// Most associations at a time; further peers wait to be accepted.
    pub associations: usize,
    /// Largest object, in bytes.
    pub object_bytes: u64,
    /// How long objects under way may take once the service is told to stop.
    pub grace: Duration,
}

impl Default for ScpOptions {
    /// AE title `SERRATA`, 128 KiB PDUs, 60 s of silence, 16 associations, 1 GiB an object, 10 s of grace (judgement).
    fn default() -> Self {
        Self {
            ae_title: "SERRATA".to_owned(),
            check_called: false,
            max_pdu: 131_072,
            idle: Duration::from_secs(60),
            associations: 16,
            object_bytes: Limits::default().bytes,
            grace: Duration::from_secs(10),
        }
    }
}

/// Serves until `shutdown` resolves: then nobody is accepted any more, idle associations are aborted, and objects under
/// way have [`ScpOptions::grace`] to finish.
pub async fn serve(
    listener: TcpListener,
    options: ScpOptions,
    sink: Arc<dyn Sink>,
    shutdown: impl Future<Output = ()> + Send,
) {
    let options = Arc::new(options);
    let room = Arc::new(Semaphore::new(options.associations.max(1)));
    let (stop, stopping) = watch::channel(false);
    let mut peers = JoinSet::new();
    tokio::pin!(shutdown);
    loop {
        // Reap those that ended, so that the set does not grow with the day.
        while peers.try_join_next().is_some() {}
        let next = async {
            let place = Arc::clone(&room).acquire_owned().await.ok()?;
            Some((listener.accept().await, place))
        };
        let (accepted, place) = tokio::select! {
            () = &mut shutdown => break,
            next = next => match next {
                Some(next) => next,
                None => break,
            },
        };
        match accepted {
            Ok((stream, peer)) => {
                let (options, sink, stopping) = (Arc::clone(&options), Arc::clone(&sink), stopping.clone());
                peers.spawn(async move {
                    let _place = place;
                    if let Err(e) = association::serve_one(stream, &options, sink.as_ref(), stopping).await {
                        tracing::warn!(%peer, "association ended: {e}");
                    }
                });
            }
            Err(e) => {
                // For example no file handles left: wait for associations to end instead of spinning.
                tracing::warn!("cannot accept a connection: {e}");
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
    }
    drop(listener);
    let _ = stop.send(true);
    let finish = async { while peers.join_next().await.is_some() {} };
    if tokio::time::timeout(options.grace, finish).await.is_err() {
        tracing::warn!("some associations did not end in time and were cut off");
    }
}
