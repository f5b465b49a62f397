//! `serrata visit`: the visits of the day, read and told by command line.

use crate::client::{Client, Where, part};
use crate::sheet;
use anyhow::{Context, Result, bail};
use clap::Subcommand;
use serde_json::{Value, json};
use std::path::Path;
use std::process::ExitCode;

/// Lists visits, shows one, and keeps what happens in it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata visit show 4\n  serrata visit paper 4 --to record.pdf --who RK\n  serrata visit tell 4 --who RK '{\"kind\":\"unwell\"}'"
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
    /// The board of open visits: who, where, what is next.
    List,
    /// One visit: what is due, what comes first, what is there.
    Show {
        /// Its number.
        visit: i64,
    },
    /// The dye run of a visit as it is now: clocks, frames due, one sentence.
    Run {
        /// Its number.
        visit: i64,
    },
    /// The imaging record of a visit as a paper (PDF/A): orders and how each view was met, what could not be done and why, pictures,
    /// charts, dye times, who did what.
    Paper {
        /// Its number.
        visit: i64,
        /// The file to write; it must not be there yet.
        #[arg(long, value_name = "FILE")]
        to: std::path::PathBuf,
        /// Who asks: an account or initials.
        #[arg(long)]
        who: String,
    },
    /// Keeps a fact of a visit: a JSON object with `kind`, as the API takes it.
    Tell {
        /// Its number.
        visit: i64,
        /// The fact, for example '{"kind":"seated","chair":"By the door"}'.
        fact: String,
        /// Who: an account or initials.
        #[arg(long)]
        who: String,
        /// Why.
        #[arg(long)]
        reason: Option<String>,
    },
    /// Seats the patient at a chair.
    Seat {
        /// Its number.
        visit: i64,
        /// The chair.
        chair: String,
        /// Who: an account or initials.
        #[arg(long)]
        who: String,
    },
    /// Closes a visit.
    Close {
        /// Its number.
        visit: i64,
        /// Who: an account or initials.
        #[arg(long)]
        who: String,
    },
    /// Asks for a frame to be moved to another patient's visit; a second person decides.
    Move {
        /// The frame's number.
        frame: i64,
        /// The other visit.
        to: i64,
        /// Who asks.
        #[arg(long)]
        who: String,
        /// Why.
        #[arg(long)]
        reason: String,
    },
    /// Confirms a move as its second person, or refuses it.
    Decide {
        /// The frame's number.
        frame: i64,
        /// Who decides.
        #[arg(long)]
        who: String,
        /// Refuses instead of confirming.
        #[arg(long)]
        refuse: bool,
    },
    /// The list of the day, to be printed for an outage.
    Print,
    /// What is left over at the end of the day.
    Closing,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let (what, json) = (args.what.clone(), args.json);
    let text = args.place.with(move |c| answer(c, &what, json))?;
    print!("{text}");
    Ok(ExitCode::SUCCESS)
}

/// Fetches a paper beside its place, and puts it there whole.
fn paper(c: Client, visit: i64, to: &Path, who: &str) -> Result<()> {
    if to.exists() {
        bail!("{}: is there already; name another file", to.display());
    }
    let parent = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(parent).with_context(|| {
        format!("{}: cannot be written; make the folder first, or check the space", parent.display())
    })?;
    c.fetch(&format!("/visits/{visit}/record.pdf?who={}", part(who)), &mut file)?;
    file.as_file().sync_all()?;
    file.persist_noclobber(to)
        .with_context(|| format!("{}: cannot be put there; name another file", to.display()))?;
    Ok(())
}

fn answer(c: Client, what: &What, json: bool) -> Result<String> {
    let told = |v: Value, said: &str| if json { format!("{v}\n") } else { format!("{said}\n") };
    Ok(match what {
        What::List => {
            let day = c.get("/day")?;
            if json { each(&day["visits"]) } else { board(&day) }
        }
        What::Show { visit } => {
            let v = c.get(&format!("/visits/{visit}"))?;
            if json { format!("{v}\n") } else { sheet::visit(&v) }
        }
        What::Run { visit } => {
            let r = c.get(&format!("/visits/{visit}/dye"))?;
            if json { format!("{r}\n") } else { dye_run(&r) }
        }
        What::Paper { visit, to, who } => {
            paper(c, *visit, to, who)?;
            told(
                json!({"schema": "serrata.paper/1", "visit": visit, "to": to.to_string_lossy()}),
                &format!("{}: printed.", to.display()),
            )
        }
        What::Tell { visit, fact, who, reason } => {
            let fact: Value = serde_json::from_str(fact).context("the fact is no JSON object")?;
            told(
                c.post(
                    &format!("/visits/{visit}/facts"),
                    &json!({"who": who, "reason": reason, "fact": fact}),
                )?,
                "Kept.",
            )
        }
        What::Seat { visit, chair, who } => {
            let fact = json!({"kind": "seated", "chair": chair});
            told(c.post(&format!("/visits/{visit}/facts"), &json!({"who": who, "fact": fact}))?, "Seated.")
        }
        What::Close { visit, who } => {
            told(c.post(&format!("/visits/{visit}/close"), &json!({"who": who}))?, "Closed.")
        }
        What::Move { frame, to, who, reason } => {
            let body = json!({"who": who, "to_visit": to, "reason": reason});
            let m = c.post(&format!("/frames/{frame}/move"), &body)?;
            let said = format!("In quarantine until a second person confirms.{}", recall(&m));
            told(m, &said)
        }
        What::Decide { frame, who, refuse } => {
            let body = json!({"who": who, "confirm": !refuse});
            let m = c.post(&format!("/frames/{frame}/move/decide"), &body)?;
            let said =
                if *refuse { "Refused: it stays.".to_owned() } else { format!("Moved.{}", recall(&m)) };
            told(m, &said)
        }
        What::Print => c.text("/day/list")?,
        What::Closing => {
            let round = c.get("/day/closing")?;
            if json { format!("{round}\n") } else { lines(&round["left"]) }
        }
    })
}

/// Whom to ask for a recall.
fn recall(m: &Value) -> String {
    let to: Vec<&str> = m["sent_to"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    if to.is_empty() {
        String::new()
    } else {
        format!(" It went already to: {}. Ask each for its recall.", to.join(", "))
    }
}

fn each(list: &Value) -> String {
    list.as_array().into_iter().flatten().map(|v| format!("{v}\n")).collect()
}

fn lines(list: &Value) -> String {
    list.as_array().into_iter().flatten().filter_map(Value::as_str).map(|l| format!("{l}\n")).collect()
}

/// A dye run: its sentence first, then clocks, then frames.
fn dye_run(r: &Value) -> String {
    let word = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    let mut out = format!("{}: {}\n", word(&r["who"]), word(&r["sentence"]));
    for c in r["clocks"].as_array().into_iter().flatten() {
        let s = c["elapsed_s"].as_f64().unwrap_or_default();
        out.push_str(&format!(
            "{:>4}  {:.0} min {:04.1} s after the injection, ± {} s{}{}\n",
            word(&c["modality"]).to_uppercase(),
            (s / 60.0).floor(),
            s % 60.0,
            c["start_error_s"],
            if c["by_mouth"] == true { ", by mouth" } else { "" },
            if c["superseded"] == true { ", an earlier injection" } else { "" },
        ));
    }
    for f in r["frames"].as_array().into_iter().flatten() {
        let why: Vec<String> = f["why"].as_array().into_iter().flatten().map(word).collect();
        let why = if why.is_empty() { String::new() } else { format!(" ({})", why.join("; ")) };
        out.push_str(&format!("      {:<7} {}{why}\n", word(&f["state"]), word(&f["what"])));
    }
    for c in r["instrument_clocks"].as_array().into_iter().flatten() {
        out.push_str(&format!(
            "      clock of {}: {} s added, ± {} s\n",
            word(&c["name"]),
            c["offset_s"],
            c["error_s"]
        ));
    }
    out
}

fn board(day: &Value) -> String {
    let mut out = String::new();
    let word = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    for v in day["visits"].as_array().into_iter().flatten() {
        let place = v["chair"].as_str().or(v["scheduled"].as_str()).unwrap_or("waiting");
        let next = match (v["unwell"] == true, v["next_step"].as_str()) {
            (true, _) => "unwell: nothing is due",
            (false, Some(next)) => next,
            (false, None) => "nothing is due",
        };
        out.push_str(&format!(
            "{:>4}  {:<18} {:<24} {:<20} {next}\n",
            v["id"],
            place,
            word(&v["patient_name"]),
            word(&v["order"])
        ));
    }
    for a in day["alarms"].as_array().into_iter().flatten().filter(|a| a["now"] == true) {
        out.push_str(&format!("      now: {}, {}\n", word(&a["who"]), word(&a["what"])));
    }
    if day["unassigned"].as_u64().is_some_and(|n| n > 0) {
        let n = day["unassigned"].as_u64().unwrap_or_default();
        let said = if n == 1 { "frame belongs" } else { "frames belong" };
        out.push_str(&format!("      {n} {said} to no visit\n"));
    }
    out
}
