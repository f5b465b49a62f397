//! One command per file.

pub mod appraise;
pub mod backup;
pub mod config;
pub mod demo;
pub mod instrument;
pub mod measure;
pub mod order;
pub mod phantom;
pub mod protocol;
pub mod serve;
pub mod verify;
pub mod visit;
