//! `serrata verify`: re-reads a data folder or a backup.

use anyhow::Result;
use std::path::PathBuf;
use std::process::ExitCode;

/// Re-reads a data folder or a backup: hashes of all originals, rows against originals, audit chains.
///
/// Changes nothing. Exit 0: nothing wrong; 1: something is, and each fault is told in a sentence.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata verify clinic")]
pub struct Args {
    /// Data folder or backup.
    dir: PathBuf,
    /// One JSON object with counts and faults.
    #[arg(long)]
    json: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let report = tokio::runtime::Runtime::new()?.block_on(serrata_store::verify(&args.dir))?;
    let clean = report.is_clean();
    if args.json {
        let faults: Vec<_> = report
            .faults
            .iter()
            .map(|f| serde_json::json!({"message": f.to_string(), "harmless": f.harmless()}))
            .collect();
        let line = serde_json::json!({
            "schema": "serrata.verify/1", "path": args.dir.to_string_lossy(), "clean": clean,
            "originals": report.originals, "files": report.files, "frames": report.frames,
            "audit_entries": report.audit_entries, "faults": faults,
        });
        println!("{line}");
    } else {
        for f in &report.faults {
            println!("{}{f}", if f.harmless() { "harmless: " } else { "" });
        }
        println!(
            "{}: {} originals, {} files, {} frames and {} audit entries re-read, {}",
            args.dir.display(),
            report.originals,
            report.files,
            report.frames,
            report.audit_entries,
            if clean { "nothing wrong" } else { "see above" }
        );
    }
    Ok(if clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}
