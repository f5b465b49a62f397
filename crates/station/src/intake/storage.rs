//! DICOM Storage: what senders hand over ends in the store before they hear of success.

use super::take_seen;
use crate::Station;
use crate::reading::look;
use crate::sending::reported;
use serrata_dicom::{CommitReport, Received, Refusal, Sink};
use serrata_store::Source;
use std::future::Future;
use std::pin::Pin;

/// Keeps received objects in the station's store.
pub struct Keeper(pub Station);

impl Sink for Keeper {
    fn store(&self, received: Received) -> Pin<Box<dyn Future<Output = Result<(), Refusal>> + Send + '_>> {
        Box::pin(async move {
            let name = format!("{}.dcm", received.instance_uid);
            let source = Source::Dicom { calling: received.calling };
            let bytes = bytes::Bytes::from(received.file);
            let seen = look(&bytes);
            if seen.facts.instance_uid.as_deref() != Some(received.instance_uid.as_str()) {
                return Err(Refusal::CannotUnderstand(
                    "the object cannot be read, or it is not the one that was announced".to_owned(),
                ));
            }
            match take_seen(&self.0, &name, source, bytes, seen).await {
                Ok(_) => Ok(()),
                Err(e) => {
                    tracing::error!("{name}: {e}");
                    Err(Refusal::OutOfResources(e.to_string()))
                }
            }
        })
    }

    fn committed(
        &self,
        report: CommitReport,
    ) -> Pin<Box<dyn Future<Output = Result<(), Refusal>> + Send + '_>> {
        Box::pin(async move {
            match reported(&self.0, report).await {
                Ok(true) => Ok(()),
                Ok(false) => {
                    Err(Refusal::CannotUnderstand("nothing is open under this transaction".to_owned()))
                }
                Err(e) => {
                    tracing::error!("a report on a storage commitment cannot be kept: {e}");
                    Err(Refusal::OutOfResources(e.to_string()))
                }
            }
        })
    }
}
