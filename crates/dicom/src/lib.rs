//! DICOM objects in and out, and the storage service.
//!
//! * [`DicomReader`] reads files to frames, [`read_header`] reads what stands beside the pixels;
//! * [`write_photograph`] writes a frame as an ophthalmic object;
//! * [`serve`] takes objects from the network;
//! * [`worklist`] asks a Modality Worklist for orders;
//! * [`StoreLink`] sends objects on, [`ask_commitment`] and [`read_back`] tell whether they arrived;
//! * [`deidentify()`] makes a copy of a picture that does not name the patient;
//! * [`uid`] makes UIDs.
//!
//! # What is read
//!
//! | | read | refused with a clear error |
//! | --- | --- | --- |
//! | file | Part 10; without preamble; a bare data set that starts with group 8 | anything else |
//! | transfer syntax | implicit and explicit little endian, explicit big endian, deflated; JPEG baseline (.50), extended with 8 bits (.51), lossless (.57, .70); JPEG-LS (.80, .81); JPEG 2000 (.90, .91); RLE (.5) | 12-bit lossy JPEG, JPEG XL, HTJ2K, video, private ones |
//! | bits | 8 or 16 allocated, 1 to 16 stored, signed or not | 1 and 32 allocated, floating point |
//! | meaning | `MONOCHROME1`, `MONOCHROME2`, `RGB`, `YBR_FULL`, `YBR_FULL_422`, `YBR_RCT`, `YBR_ICT`, `PALETTE COLOR` | `YBR_PARTIAL_*`, segmented palettes |
//! | frames | all, each as a frame of its own with its own time (Frame Time, Frame Time Vector) | more than the limits allow |
//! | text | every character set of PS3.3 C.12.1.1.2 but ISO_IR 148 and 159, with ISO 2022 switches | |
//!
//! Stored values are stretched to the full range of 8 bits (up to 8 stored) or 16 bits. No window is applied.
//!
//! # What is written
//!
//! Ophthalmic Photography 8 Bit and 16 Bit, and Wide Field Stereographic Projection, each of one frame, uncompressed, as taken or as a
//! montage; a picture once more with corrected labels; Encapsulated PDF, Key Object Selection and Comprehensive SR about them.
//! `dciodvfy` finds no errors in them (`tests/valid.rs`).
//!
//! # What the storage service accepts
//!
//! C-ECHO and C-STORE of the four ophthalmic photography classes, VL Photographic, Secondary Capture and its
//! multi-frame classes, in all transfer syntaxes above; and reports on storage commitments that we asked for.

mod codes;
mod data;
mod deidentify;
mod facts;
mod header;
mod pixels;
mod reader;
pub mod scp;
pub mod scu;
mod syntax;
pub mod uid;
mod when;
mod write;

pub use deidentify::{Change, Copy as DeidentifiedCopy, Deidentify, Secret, deidentify};
pub use header::{Header, Person, read_header};
pub use reader::DicomReader;
pub use scp::{BoxFuture, Received, Refusal, ScpOptions, Sink, serve};
pub use scu::{
    CodedText, CommitReport, Instance, Outgoing, Peer, PeerError, StoreLink, Stored, WebPeer, WorklistAnswer,
    WorklistError, WorklistItem, WorklistQuery, WorklistServer, ask_commitment, outgoing, read_back,
    worklist,
};
pub use write::{
    Correction, Device, Flaw, KeyReason, NewDocument, NewObject, Said, SaidArea, SaidDecision, SaidTime,
    WideField, WriteError, write_corrected, write_key_objects, write_pdf, write_photograph, write_report,
};
