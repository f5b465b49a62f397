//! The binary `serrata`: thin. Each command parses its arguments, calls the crate that does the work, and prints.
//!
//! Exit: 0 all inputs answered (also when the answer is `not_usable`), 1 some input failed, 2 usage.

mod client;
mod commands;
mod day;
mod failure;
mod inputs;
mod points;
mod sheet;
mod table;

use clap::{Parser, Subcommand};
use std::process::ExitCode;

/// Observing a frame takes and gives back many planes of a megabyte. The system's allocator hands each back to the
/// kernel and clears it anew: a fifth of the time of a verdict went there.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Checks ultra-widefield retinal pictures while the patient is still in the chair.
///
/// Serrata advises; licensed staff decide. Local protocols come first.
#[derive(Debug, Parser)]
#[command(name = "serrata", version, max_term_width = 110)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Appraise(commands::appraise::Args),
    Assemble(commands::assemble::Args),
    Transfer(commands::transfer::Args),
    Compare(commands::compare::Args),
    Measure(commands::measure::Args),
    Dye(commands::dye::Args),
    Serve(commands::serve::Args),
    Demo(commands::demo::Args),
    Phantom(commands::phantom::Args),
    Visit(commands::visit::Args),
    Order(commands::order::Args),
    Config(commands::config::Args),
    Protocol(commands::protocol::Args),
    Instrument(commands::instrument::Args),
    Handover(commands::handover::Args),
    Backup(commands::backup::Args),
    Verify(commands::verify::Args),
}

fn main() -> ExitCode {
    failure::end_quietly_with_the_reader();
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("SERRATA_LOG").unwrap_or_else(|_| "warn".into()),
        )
        .with_writer(std::io::stderr)
        .init();
    let result = match cli.command {
        Command::Appraise(a) => commands::appraise::run(&a),
        Command::Assemble(a) => commands::assemble::run(&a),
        Command::Transfer(a) => commands::transfer::run(&a),
        Command::Compare(a) => commands::compare::run(&a),
        Command::Measure(a) => commands::measure::run(&a),
        Command::Dye(a) => commands::dye::run(&a),
        Command::Serve(a) => commands::serve::run(&a),
        Command::Demo(a) => commands::demo::run(&a),
        Command::Phantom(a) => commands::phantom::run(&a),
        Command::Visit(a) => commands::visit::run(&a),
        Command::Order(a) => commands::order::run(&a),
        Command::Config(a) => commands::config::run(&a),
        Command::Protocol(a) => commands::protocol::run(&a),
        Command::Instrument(a) => commands::instrument::run(&a),
        Command::Handover(a) => commands::handover::run(&a),
        Command::Backup(a) => commands::backup::run(&a),
        Command::Verify(a) => commands::verify::run(&a),
    };
    match result {
        Ok(code) => code,
        // A reader that closed the pipe early has what it wanted.
        Err(e) if failure::is_broken_pipe(&e) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("serrata: {}", failure::sentence(&e));
            ExitCode::from(1)
        }
    }
}
