//! Data sets read without copying: elements point into the file's bytes.
//!
//! The general-purpose object reader reserves the length that an element claims before it reads, so that eight bytes
//! can ask for four gigabytes; here a length that does not fit into the bytes at hand is refused, and so are depth
//! and number of elements beyond reason. The tests hold this reader against that one.

pub(crate) mod emit;
pub(crate) mod part10;
pub(crate) mod set;
pub(crate) mod text;
pub(crate) mod value;
mod walk;

pub(crate) use walk::has_long_length;

#[cfg(test)]
mod reference;
