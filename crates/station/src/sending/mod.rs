//! Sending by DICOM: a queue for each destination, emptied in the background.
//!
//! * [`Destination`]: where things go, and how their arrival is proven;
//! * [`run`]: the worker of one destination: sends what waits, has it proven, backs off, and tells why.
//!
//! Nothing counts as handed over until the other side answers for it (Storage Commitment) or, where it knows no commitment,
//! until it said that it stored it **and** finds it when it is asked.

mod destination;
mod worker;

pub use destination::{Destination, Proof};
pub use worker::{reported, run};
