//! `serrata instrument`: what is known of instruments, and the limits that their light is held against.

use anyhow::{Context, Result};
use clap::{Parser, Subcommand};
use serrata_visit::{laser_limit, weight_a, weight_r};
use std::process::ExitCode;

/// Instruments and the limits of their light.
#[derive(Debug, Parser)]
#[command(after_help = "Example:\n  serrata instrument limit --nm 488 --seconds 100")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The published limit at the cornea for a steady beam, as a line of JSON. A scanned beam's dwell is not covered.
    Limit {
        /// Wavelength in nm.
        #[arg(long)]
        nm: f64,
        /// Seconds of light.
        #[arg(long)]
        seconds: f64,
        /// Angular size of the source in mrad.
        #[arg(long, default_value_t = 1.5)]
        mrad: f64,
    },
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode> {
    let What::Limit { nm, seconds, mrad } = args.what;
    let limit = laser_limit(nm, seconds, mrad)
        .context("no limit: use 400 to 1400 nm, 0.25 to 30000 s and a size of 0 mrad or more")?;
    println!(
        "{}",
        serde_json::json!({
            "schema": "serrata.light_limit/1", "nm": nm, "seconds": seconds, "mrad": mrad, "w_m2": limit.w_m2(),
            "photochemical_w_m2": limit.photochemical_w_m2, "thermal_w_m2": limit.thermal_w_m2,
            "weight_a": weight_a(nm), "weight_r": weight_r(nm),
            "not_covered": "the dwell of a scanned beam, and pulses",
        })
    );
    Ok(ExitCode::SUCCESS)
}
