//! One command per file.

pub mod appraise;
pub mod backup;
pub mod demo;
pub mod instrument;
pub mod measure;
pub mod phantom;
pub mod protocol;
pub mod serve;
pub mod verify;
