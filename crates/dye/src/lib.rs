//! A dye run read as a series: frames registered to each other, curves of brightness, times with intervals, the phase of
//! each frame, what stays dark and what brightens late.
//!
//! * [`Shot`]: a frame made small with its second; the full frame is not needed afterwards;
//! * [`analyse`]: shots to a [`Run`] (contract `serrata.dye/1` in [`serrata_words`]);
//! * [`Fitted`]: one model of a first passage, fitted to the curves of arteries, veins and ground together;
//! * [`late_brightening`], [`unfilled`]: regions that are proposed, never concluded.
//!
//! Curves are as stored; the fit gives every frame an exposure of its own. Phases are told from
//! the first arterial frame, not from the clock (arm-to-retina times spread by 24 % from person to person: Wolf, Arend &
//! Reim, Surv Ophthalmol 1994;38 suppl). Not here: files, the live run, and what a time or a region means.

mod align;
mod analysis;
mod curves;
mod passage;
mod phase;
mod region;
mod shot;
mod stack;
mod times;

pub use analysis::{METHOD, Run, analyse};
pub use passage::{Fitted, Measured, Passage};
pub use region::{Proposed, dark_places, late_brightening, unfilled};
pub use shot::{SIDE, Shot};
