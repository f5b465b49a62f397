//! What is kept: originals, rows, the audit trail, work items and events, in one folder of one machine.
//!
//! Arrival is written in this order, so that `kill -9` at any moment loses nothing that was acknowledged:
//!
//! 1. the **original** is written to a temporary file, synced, linked to its place `originals/ab/cdef…` (named by
//!    its SHA-256, never overwritten), and the folder is synced;
//! 2. the **rows** (file, frames), the **work item** that they cause, the **audit** entry and the **event** are
//!    committed in one SQL transaction with a synced log;
//! 3. only then the caller hears of success.
//!
//! All writes go through one task with one connection, which commits what waits together (see [`Store::accept`]);
//! reads have connections of their own and see the last commit.
//!
//! ```
//! use serrata_store::{By, Incoming, NewFrame, Source, Store};
//! # tokio::runtime::Runtime::new().unwrap().block_on(async {
//! let dir = tempfile::tempdir().unwrap();
//! let store = Store::open(dir.path()).await.unwrap();
//! let incoming = Incoming::new("a.jpg", Source::Upload, 1_700_000_000_000_000, vec![0xff, 0xd8])
//!     .with_frames(vec![NewFrame::new(0, 3600, 3600)]);
//! let accepted = store.accept(incoming, &By::station()).await.unwrap();
//! assert!(!accepted.duplicate);
//! assert_eq!(store.unassigned(10).await.unwrap().len(), 1);
//! # store.close().await;
//! # });
//! ```

mod accept;
mod audit;
mod backup;
mod by;
mod canonical;
mod chairs;
mod counts;
mod deliveries;
mod delivery;
mod derived;
mod earlier;
mod error;
mod event;
mod facts;
mod fault;
mod folder;
mod frame;
mod frames;
mod hooks;
mod ids;
mod incoming;
mod matching;
mod moves;
mod observation;
mod open;
mod orders;
mod original;
mod rows;
mod schema;
mod store;
mod verify;
mod visit;
mod visits;
mod work;
mod work_items;
mod writer;

pub use backup::backup;
pub use by::By;
pub use canonical::{canonical_json, work_key};
pub use chairs::{Chair, DayTick};
pub use counts::Counts;
pub use delivery::{Delivery, DeliveryCount, DeliveryKind, DeliveryState, DeliveryStep, NewDelivery, SentAs};
pub use error::{OpenError, StoreError};
pub use event::{Event, EventKind};
pub use fault::{Fault, Report};
pub use folder::SECRET_FILE;
pub use frame::{Corrections, Failure, FrameState, KeptFrame};
pub use hooks::{Hooks, Step};
pub use ids::{EventId, FileId, FrameId, ObservationId, PatientId, VisitId, WorkId};
pub use incoming::{Accepted, Incoming, NewFrame, NewWork, Person, Source};
pub use moves::AskedMove;
pub use observation::StoredObservation;
pub use orders::{KeptOrder, NewOrder, Taken};
pub use original::Original;
pub use store::Store;
pub use verify::verify;
pub use visit::{ClosedView, NewVisit, ViewEnd, Visit, VisitBrief, VisitQuery, VisitState};
pub use work::{FailOutcome, WorkItem, WorkState};
