//! One command per file.

pub mod appraise;
pub mod assemble;
mod assembling;
pub mod backup;
pub mod compare;
pub mod config;
pub mod demo;
pub mod dye;
pub mod handover;
pub mod instrument;
pub mod measure;
pub mod order;
pub mod phantom;
pub mod protocol;
pub mod serve;
pub mod transfer;
pub mod verify;
pub mod visit;
