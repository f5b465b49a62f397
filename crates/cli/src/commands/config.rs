//! `serrata config`: what a clinic says of its own house.

use crate::client::Where;
use anyhow::Result;
use clap::Subcommand;
use serde_json::json;
use std::process::ExitCode;

/// Names the chairs and the instruments that stand there.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata config chair 'By the door' --instrument demo-wide")]
pub struct Args {
    #[command(flatten)]
    place: Where,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Clone, Subcommand)]
enum What {
    /// The chairs.
    Chairs,
    /// Names a chair, or says which instrument stands there.
    Chair {
        /// Its name.
        name: String,
        /// Profile name of the instrument.
        #[arg(long)]
        instrument: Option<String>,
    },
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let what = args.what.clone();
    let answer = args.place.with(move |c| match what {
        What::Chairs => c.get("/chairs"),
        What::Chair { name, instrument } => {
            c.post("/chairs", &json!({"name": name, "instrument": instrument}))?;
            c.get("/chairs")
        }
    })?;
    for chair in answer.as_array().into_iter().flatten() {
        let name = chair["name"].as_str().unwrap_or_default();
        println!("{name:<24} {}", chair["instrument"].as_str().unwrap_or("no instrument named"));
    }
    Ok(ExitCode::SUCCESS)
}
