//! The store.

use crate::*;
use bytes::Bytes;
use std::path::Path;
use tokio::sync::watch;

/// A data folder, held open by this process alone. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Store {
    last_event: watch::Receiver<i64>,
}

#[allow(unused_variables)] // filled in next
impl Store {
    /// Opens a data folder and makes what is missing.
    pub async fn open(dir: impl AsRef<Path>) -> Result<Self, OpenError> { todo!() }
    /// Opens a data folder with hooks between the steps of writing, for tests.
    pub async fn open_with(dir: impl AsRef<Path>, hooks: Hooks) -> Result<Self, OpenError> { todo!() }
    /// Waits for writes under way, closes the database and lets go of the lock (clones stop working).
    pub async fn close(&self) { todo!() }
    /// The data folder.
    pub fn folder(&self) -> &Path { todo!() }
    /// Keeps an original.
    pub async fn put_original(&self, bytes: Bytes) -> Result<Original, StoreError> { todo!() }
    /// Reads an original.
    pub async fn read_original(&self, sha256: &str) -> Result<Bytes, StoreError> { todo!() }
    /// Keeps a file.
    pub async fn accept(&self, incoming: Incoming, by: &By) -> Result<Accepted, StoreError> { todo!() }

    /// Opens a visit; unassigned frames of the same study and patient come to it.
    pub async fn create_visit(&self, visit: NewVisit, by: &By) -> Result<VisitId, StoreError> { todo!() }
    /// Lists visits.
    pub async fn list_visits(&self, query: &VisitQuery) -> Result<Vec<VisitBrief>, StoreError> { todo!() }
    /// One visit.
    pub async fn visit(&self, id: VisitId) -> Result<Option<Visit>, StoreError> { todo!() }
    /// Closes a visit.
    pub async fn close_visit(&self, id: VisitId, by: &By) -> Result<(), StoreError> { todo!() }
    /// Opens a closed visit again.
    pub async fn reopen_visit(&self, id: VisitId, by: &By) -> Result<(), StoreError> { todo!() }
    /// Says where the patient sits.
    pub async fn seat_visit(&self, id: VisitId, chair: Option<String>, by: &By) -> Result<(), StoreError> { todo!() }
    /// Notes the state of an eye today.
    pub async fn set_eye_state(&self, id: VisitId, eye: serrata_words::Eye, state: serrata_words::EyeState, by: &By) -> Result<(), StoreError> { todo!() }
    /// Closes a view with a reason.
    pub async fn close_view(&self, id: VisitId, view: &str, end: ViewEnd, reason: &str, by: &By) -> Result<(), StoreError> { todo!() }
    /// Makes a closed view due again.
    pub async fn reopen_view(&self, id: VisitId, view: &str, by: &By) -> Result<(), StoreError> { todo!() }
    /// Views of a visit that a person closed.
    pub async fn closed_views(&self, id: VisitId) -> Result<Vec<ClosedView>, StoreError> { todo!() }

    /// Frames of a visit, in order of acquisition where known, else of arrival.
    pub async fn frames_of_visit(&self, id: VisitId) -> Result<Vec<KeptFrame>, StoreError> { todo!() }
    /// The observations that hold now for the frames of a visit.
    pub async fn observations_of_visit(&self, id: VisitId) -> Result<Vec<StoredObservation>, StoreError> { todo!() }
    /// One frame.
    pub async fn frame(&self, id: FrameId) -> Result<Option<KeptFrame>, StoreError> { todo!() }
    /// Frames without a visit, newest first.
    pub async fn unassigned(&self, limit: u32) -> Result<Vec<KeptFrame>, StoreError> { todo!() }
    /// Gives a frame to a visit.
    pub async fn assign_frame(&self, id: FrameId, visit: VisitId, by: &By) -> Result<(), StoreError> { todo!() }
    /// Sets a frame aside with a reason.
    pub async fn set_aside(&self, id: FrameId, reason: &str, by: &By) -> Result<(), StoreError> { todo!() }
    /// Brings a frame back.
    pub async fn bring_back(&self, id: FrameId, by: &By) -> Result<(), StoreError> { todo!() }
    /// Corrects eye, modality or gaze; `again` is the work that the correction causes, where there is any.
    pub async fn correct_frame(&self, id: FrameId, corrections: Corrections, again: Option<NewWork>, by: &By) -> Result<(), StoreError> { todo!() }
    /// All observations of a frame, oldest first.
    pub async fn observations_of(&self, id: FrameId) -> Result<Vec<StoredObservation>, StoreError> { todo!() }
    /// The observation that holds now.
    pub async fn observation(&self, id: FrameId) -> Result<Option<StoredObservation>, StoreError> { todo!() }
    /// Asks for work on a frame, for example with a new revision of the method.
    pub async fn ask_again(&self, id: FrameId, work: NewWork, by: &By) -> Result<(), StoreError> { todo!() }

    /// Leases the oldest work item that is ready, until `now_us + lease_us`.
    pub async fn lease_work(&self, now_us: i64, lease_us: i64) -> Result<Option<WorkItem>, StoreError> { todo!() }
    /// Keeps the result of a work item.
    pub async fn finish_work(&self, item: &WorkItem, body: serde_json::Value, by: &By) -> Result<ObservationId, StoreError> { todo!() }
    /// Tells that a work item failed.
    pub async fn fail_work(&self, item: &WorkItem, failure: Failure, by: &By) -> Result<FailOutcome, StoreError> { todo!() }

    /// Events after `id`, oldest first.
    pub async fn events_since(&self, id: EventId, limit: u32) -> Result<Vec<Event>, StoreError> { todo!() }
    /// Id of the last event; 0 where there is none.
    pub async fn last_event_id(&self) -> Result<EventId, StoreError> { todo!() }
    /// Tells the id of the last committed event whenever it grows: wakes workers and pages.
    pub fn changes(&self) -> watch::Receiver<i64> { self.last_event.clone() }
    /// Numbers for the day's board.
    pub async fn counts(&self) -> Result<Counts, StoreError> { todo!() }
    /// Makes a consistent copy in `to`, which must not exist yet or be empty.
    pub async fn backup(&self, to: &Path) -> Result<(), StoreError> { todo!() }
}
