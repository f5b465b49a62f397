//! The printed imaging record: data and pictures go into a template that a clinic can edit, PDF/A comes out.
//!
//! * [`print()`]: a paper, set by the Typst library;
//! * [`chart_svg`]: a retinal chart as a drawing;
//! * [`TEMPLATE`]: the template that comes with Serrata.

mod chart;
mod paper;

pub use chart::{Kind, Outline, chart_svg};
pub use paper::{Paper, ReportError, print};

/// The template that comes with Serrata. It reads `/data.json` and the pictures that this names.
pub const TEMPLATE: &str = include_str!("imaging-record.typ");
