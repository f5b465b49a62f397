//! `serrata protocol`: the lists of views that orders stand for.

use anyhow::{Result, bail};
use clap::{Parser, Subcommand};
use serrata_visit::{Ask, Protocol, named};
use serrata_words::{ErrorLine, Eye};
use std::path::PathBuf;
use std::process::ExitCode;

/// Lists, shows and checks protocols.
#[derive(Debug, Parser)]
#[command(after_help = "Example:\n  serrata protocol check protocols/*.toml")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// The protocols that come with Serrata.
    List {
        /// One line of JSON each.
        #[arg(long)]
        json: bool,
    },
    /// The views that a protocol stands for.
    Show {
        /// Its name.
        name: String,
        /// The transit eye of a dye run, as the clinician named it.
        #[arg(long)]
        transit: Option<Eye>,
        /// An option of the protocol; may be given again.
        #[arg(long)]
        option: Vec<String>,
        /// The short form, for a person of whom only one shot can be had.
        #[arg(long)]
        one_shot: bool,
        /// One line of JSON.
        #[arg(long)]
        json: bool,
    },
    /// Reads protocols and names every fault with its line.
    Check {
        /// The files.
        #[arg(required = true)]
        files: Vec<PathBuf>,
        /// One line of JSON each.
        #[arg(long)]
        json: bool,
    },
}

/// Runs it.
pub fn run(args: &Args) -> Result<ExitCode> {
    match &args.what {
        What::List { json } => list(*json),
        What::Show { name, transit, option, one_shot, json } => {
            let ask =
                Ask { transit: *transit, options: option.clone(), one_shot: *one_shot, ..Ask::default() };
            show(name, &ask, *json)
        }
        What::Check { files, json } => Ok(check(files, *json)),
    }
}

fn list(json: bool) -> Result<ExitCode> {
    for p in Protocol::shipped()? {
        if json {
            let line = serde_json::json!({
                "schema": "serrata.protocol/1", "name": p.name, "title": p.title, "source": p.source, "options": p.options,
            });
            println!("{line}");
        } else {
            println!("{:<14} {}\n{:<14} {}", p.name, p.title, "", p.source);
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn show(name: &str, ask: &Ask, json: bool) -> Result<ExitCode> {
    let all = Protocol::shipped()?;
    let Some(p) = all.iter().find(|p| p.name == name) else {
        let known: Vec<&str> = all.iter().map(|p| p.name.as_str()).collect();
        bail!("there is no protocol \"{name}\"; use one of: {}", known.join(", "));
    };
    let plan = p.plan(ask)?;
    if json {
        let mut line = serde_json::to_value(&plan)?;
        line["schema"] = "serrata.plan/1".into();
        println!("{line}");
        return Ok(ExitCode::SUCCESS);
    }
    println!("{} ({})", p.title, p.source);
    for v in &plan.views {
        let when = if v.before_dye { ", before dye" } else { "" };
        println!("  {:<6} {}{when}", v.rank, named(v));
    }
    for note in &p.notes {
        println!("  {note}");
    }
    Ok(ExitCode::SUCCESS)
}

fn check(files: &[PathBuf], json: bool) -> ExitCode {
    let mut failed = false;
    for file in files {
        let path = file.display().to_string();
        let faults = match std::fs::read_to_string(file) {
            Err(e) => vec![(crate::failure::io_remedy(&e).0, e.to_string(), crate::failure::io_remedy(&e).1)],
            Ok(text) => match Protocol::from_toml(&text) {
                Ok(p) => {
                    if json {
                        let n = p.wanted.len();
                        println!(
                            "{}",
                            serde_json::json!({"schema": "serrata.protocol_check/1", "path": path, "name": p.name, "views": n})
                        );
                    } else {
                        println!("{path}: {} reads, {} pictures", p.name, p.wanted.len());
                    }
                    continue;
                }
                Err(e) => e
                    .faults
                    .iter()
                    .map(|f| ("protocol", format!("line {}: {}", f.line, f.reason), "Mend that line"))
                    .collect(),
            },
        };
        failed = true;
        for (code, message, remedy) in faults {
            eprintln!("serrata: {path}: {message}.");
            if json {
                let line = ErrorLine::new(&path, code, &message, remedy);
                println!("{}", serde_json::json!(line));
            }
        }
    }
    ExitCode::from(u8::from(failed))
}
