//! What parameters may be, told by name and range.

use crate::scene::{Fault, Scene};
use std::ops::RangeInclusive;

/// A parameter that no eye, instrument or frame can have.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{name} is {value}: it must lie from {low} to {high}")]
pub struct ParamError {
    /// Name of the parameter.
    pub name: &'static str,
    /// What was given.
    pub value: f64,
    /// Smallest that is allowed.
    pub low: f64,
    /// Largest that is allowed.
    pub high: f64,
}

/// Says whether a number lies in its range.
pub(crate) fn within(name: &'static str, value: f64, range: RangeInclusive<f64>) -> Result<(), ParamError> {
    if range.contains(&value) {
        Ok(())
    } else {
        Err(ParamError { name, value, low: *range.start(), high: *range.end() })
    }
}

impl Scene {
    /// Says which parameter is impossible. [`crate::render`] itself cuts what it is given; programs that take
    /// parameters from people ask here first.
    ///
    /// ```
    /// use serrata_phantom::Scene;
    /// use serrata_words::{Eye, Modality};
    /// let mut scene = Scene::new(1, Eye::R, Modality::Colour);
    /// scene.turn_deg = 90.0;
    /// assert_eq!(scene.check().unwrap_err().to_string(), "gaze turn in degrees is 90: it must lie from 0 to 60");
    /// ```
    ///
    /// # Errors
    /// The first parameter out of its range.
    pub fn check(&self) -> Result<(), ParamError> {
        within("picture width in pixels", f64::from(self.size), 16.0..=8192.0)?;
        if let Some(h) = self.height {
            within("picture height in pixels", f64::from(h), 16.0..=8192.0)?;
        }
        within("gaze turn in degrees", self.turn_deg, 0.0..=60.0)?;
        within("seconds since injection", self.dye_s, -3600.0..=7200.0)?;
        within("sweep in seconds", self.instrument.sweep_s, 0.01..=60.0)?;
        self.course.check()?;
        self.setup.map_or(Ok(()), |s| s.check())?;
        self.faults.iter().try_for_each(|f| check_fault(f, self))
    }
}

fn check_fault(fault: &Fault, scene: &Scene) -> Result<(), ParamError> {
    let place = |at: [f64; 2]| {
        within("fault's place across", at[0], 0.0..=1.0)
            .and_then(|()| within("fault's place down", at[1], 0.0..=1.0))
    };
    let lines = f64::from(scene.height.unwrap_or(scene.size));
    match *fault {
        Fault::Blink { rows } => {
            within("blink's first row", f64::from(rows[0]), 0.0..=lines)?;
            within(
                "blink's last row (a blink within the sweep)",
                f64::from(rows[1]),
                f64::from(rows[0])..=lines,
            )
        }
        Fault::Lid { share, .. } => within("lid's share", share, 0.0..=1.0),
        Fault::OffCentre { share, .. } => within("off-centre share", share, 0.0..=1.0),
        Fault::IrisShadow { share, .. } => within("iris shadow's share", share, 0.0..=1.0),
        Fault::Lash { length, count, .. } => {
            within("lashes' length", length, 0.0..=1.0)?;
            within("lashes' count", f64::from(count), 0.0..=200.0)
        }
        Fault::Blur { sigma } => within("blur's sigma in pixels", sigma, 0.0..=200.0),
        Fault::Underexposed { gain } | Fault::Overexposed { gain } => {
            within("exposure gain", gain, 0.0..=100.0)
        }
        Fault::Motion { row, shift_deg } => {
            within("motion's row", f64::from(row), 0.0..=lines)?;
            within("motion's shift in degrees", shift_deg, -30.0..=30.0)
        }
        Fault::Haze { strength } => within("haze strength", strength, 0.0..=1.0),
        Fault::TooClose { strength } => within("too-close strength", strength, 0.0..=1.0),
        Fault::TooFar { strength } => within("too-far strength", strength, 0.0..=1.0),
        Fault::Reflex { at, radius } => {
            place(at)?;
            within("reflex radius", radius, 0.0..=0.5)
        }
        Fault::Floater { at, radius, dark } => {
            place(at)?;
            within("floater radius", radius, 0.0..=0.5)?;
            within("floater's darkness", dark, 0.0..=1.0)
        }
        Fault::Smear { at, radius, strength } => {
            place(at)?;
            within("smear radius", radius, 0.0..=1.0)?;
            within("smear strength", strength, 0.0..=1.0)
        }
        Fault::RegionalBlur { at, radius, sigma } => {
            place(at)?;
            within("soft patch's radius", radius, 0.0..=1.0)?;
            within("soft patch's sigma in pixels", sigma, 0.0..=200.0)
        }
        Fault::Dust { count, .. } => within("dust spots", f64::from(count), 0.0..=400.0),
        Fault::NoRetina => Ok(()),
    }
}
