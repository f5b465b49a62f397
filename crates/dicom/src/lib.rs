//! DICOM objects in and out, and the storage service.

mod codes;
mod data;
mod facts;
mod header;
mod pixels;
mod reader;
pub mod scp;
mod syntax;
pub mod uid;
mod when;
mod write;

pub use header::{Header, Person, read_header};
pub use reader::DicomReader;
pub use scp::{BoxFuture, Received, Refusal, ScpOptions, Sink, serve};
pub use write::{Device, NewObject, WideField, WriteError, write_photograph};
