//! `serrata order`: what clinicians asked for.

use crate::client::{Client, Where, part};
use anyhow::{Context, Result, bail};
use clap::Subcommand;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::process::ExitCode;

/// Lists orders, takes them from the worklist or a table, types one in, merges a provisional one.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata order worklist --take --who RK\n  serrata order import orders.csv --who RK"
)]
pub struct Args {
    #[command(flatten)]
    place: Where,
    /// The answers as JSON, one object a line.
    #[arg(long, global = true)]
    json: bool,
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Clone, Subcommand)]
enum What {
    /// Orders of open visits, and provisional ones that wait to be merged.
    List,
    /// The worklist of a day as it is now; with --take its orders are taken.
    Worklist {
        /// Day as YYYY-MM-DD [default: today].
        #[arg(long)]
        day: Option<String>,
        /// Takes what is good.
        #[arg(long, requires = "who")]
        take: bool,
        /// Takes only these numbers; may be given again.
        #[arg(long, requires = "take")]
        number: Vec<String>,
        /// Who takes: an account or initials.
        #[arg(long)]
        who: Option<String>,
    },
    /// Reads a table of orders (CSV). Bad rows are all named; with --who the good ones are taken.
    Import {
        /// The table.
        file: PathBuf,
        /// Who takes: an account or initials.
        #[arg(long)]
        who: Option<String>,
    },
    /// Types an order in; it gets a provisional number.
    New {
        /// The patient's number.
        #[arg(long)]
        patient_id: String,
        /// Family name.
        #[arg(long)]
        family: String,
        /// Given names.
        #[arg(long, default_value = "")]
        given: String,
        /// Date of birth as YYYY-MM-DD.
        #[arg(long)]
        born: String,
        /// Name of a protocol.
        #[arg(long)]
        protocol: String,
        /// The transit eye of a dye run, as the clinician named it.
        #[arg(long)]
        transit: Option<String>,
        /// Who types: an account or initials.
        #[arg(long)]
        who: String,
    },
    /// Merges a provisional order into that of the worklist. Shows both first; --seen-both says that a person saw them.
    Merge {
        /// The provisional number.
        provisional: String,
        /// The order that it is.
        into: String,
        /// Who merges.
        #[arg(long)]
        who: Option<String>,
        /// A person saw both side by side.
        #[arg(long, requires = "who")]
        seen_both: bool,
    },
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let (what, json) = (args.what.clone(), args.json);
    let (text, bad) = args.place.with(move |c| answer(c, &what, json))?;
    print!("{text}");
    Ok(if bad { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// The text, and whether something was not taken.
fn answer(c: Client, what: &What, json: bool) -> Result<(String, bool)> {
    match what {
        What::List => {
            let all = c.get("/orders")?;
            let text = all["orders"].as_array().into_iter().flatten();
            Ok((text.map(|o| if json { format!("{o}\n") } else { line(o) }).collect(), false))
        }
        What::Worklist { day, take: false, .. } => {
            let query = day.as_ref().map(|d| format!("?day={}", part(d))).unwrap_or_default();
            Ok(offered(&c.get(&format!("/worklist{query}"))?, json))
        }
        What::Worklist { day, number, who, .. } => {
            let numbers = (!number.is_empty()).then_some(number);
            let body = json!({"who": who, "day": day, "numbers": numbers});
            Ok(offered(&c.post("/worklist", &body)?, json))
        }
        What::Import { file, who } => {
            let table = std::fs::read(file)
                .with_context(|| format!("{}: the table cannot be read; check its name", file.display()))?;
            let query = who.as_ref().map(|w| format!("?take={}", part(w))).unwrap_or_default();
            Ok(offered(&c.send(&format!("/orders/table{query}"), "text/csv", &table)?, json))
        }
        What::New { patient_id, family, given, born, protocol, transit, who } => {
            let body = json!({
                "who": who, "patient_id": patient_id, "family": family, "given": given, "birth_date": born,
                "protocol": protocol, "transit": transit,
            });
            Ok(offered(&c.post("/orders", &body)?, json))
        }
        What::Merge { provisional, into, who, seen_both } => {
            let both = c.get(&format!("/orders/{}/beside/{}", part(provisional), part(into)))?;
            if !seen_both {
                let text = if json { format!("{both}\n") } else { beside(&both) };
                print!("{text}");
                bail!("{provisional}: not merged; look at both, then say --seen-both");
            }
            let body = json!({"who": who, "into": into, "seen_both": true});
            let done = c.post(&format!("/orders/{}/merge", part(provisional)), &body)?;
            let text = if json { format!("{done}\n") } else { format!("{}Merged.\n", beside(&both)) };
            Ok((text, false))
        }
    }
}

fn word(v: &Value) -> &str {
    v.as_str().unwrap_or_default()
}

fn line(o: &Value) -> String {
    let question = o["question"].as_str().map(|q| format!("  ? {q}")).unwrap_or_default();
    let visit = o["visit_id"].as_i64().map(|v| format!("  visit {v}")).unwrap_or_default();
    let state = if o["state"] == "cancelled" { " (cancelled)" } else { "" };
    format!(
        "{:<16} {:<16} {:<24} {:<12} {}{state}{visit}{question}\n",
        word(&o["number"]),
        word(&o["scheduled"]),
        word(&o["patient_name"]),
        word(&o["birth_date"]),
        word(&o["asked"])
    )
}

/// What a list holds and what became of it; whether something is bad.
fn offered(o: &Value, json: bool) -> (String, bool) {
    let bad = o["bad"].as_array().is_some_and(|b| !b.is_empty());
    if json {
        return (format!("{o}\n"), bad);
    }
    let mut out = String::new();
    let became = o["became"].as_array().into_iter().flatten();
    for (order, became) in o["good"].as_array().into_iter().flatten().zip(became) {
        out.push_str(&format!("{:<12} {}", word(became).replace('_', " "), line(order)));
    }
    for b in o["bad"].as_array().into_iter().flatten() {
        let reasons: Vec<&str> = b["reasons"].as_array().into_iter().flatten().map(word).collect();
        out.push_str(&format!("{:<12} {}: {}\n", "not taken", word(&b["what"]), reasons.join(" ")));
    }
    if let Some(short) = o["cut_short"].as_str() {
        out.push_str(&format!("{short}\n"));
    }
    if out.is_empty() {
        out.push_str("The list is empty.\n");
    }
    (out, bad)
}

fn beside(b: &Value) -> String {
    let mut out = format!("{}{}", line(&b["here"]), line(&b["there"]));
    for d in b["differences"].as_array().into_iter().flatten() {
        out.push_str(&format!("  {}: {} | {}\n", word(&d["field"]), word(&d["here"]), word(&d["there"])));
    }
    out
}
