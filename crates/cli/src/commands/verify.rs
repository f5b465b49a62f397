//! `serrata verify`: re-reads a data folder, a backup or a package.

use anyhow::Result;
use serrata_station::handover::{MANIFEST, prove};
use std::path::PathBuf;
use std::process::ExitCode;

/// Re-reads a data folder or a backup: hashes of all originals, rows against originals, audit chains. Or a package: every
/// file against the manifest, and no file that it does not name.
///
/// Changes nothing. Exit 0: nothing wrong; 1: something is, and each fault is told in a sentence.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata verify clinic\n  serrata verify reader/visit-4")]
pub struct Args {
    /// Data folder, backup or package.
    dir: PathBuf,
    /// One JSON object with counts and faults.
    #[arg(long)]
    json: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    if args.dir.join(MANIFEST).is_file() {
        return package(args);
    }
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

/// A package against its manifest.
fn package(args: &Args) -> Result<ExitCode> {
    let proof = prove(&args.dir)?;
    let clean = proof.faults.is_empty();
    if args.json {
        let line = serde_json::json!({
            "schema": "serrata.verify/1", "path": args.dir.to_string_lossy(), "clean": clean,
            "originals": proof.originals, "files": proof.files,
            "faults": proof.faults.iter().map(|f| serde_json::json!({"message": f, "harmless": false})).collect::<Vec<_>>(),
        });
        println!("{line}");
    } else {
        proof.faults.iter().for_each(|f| println!("{f}"));
        println!(
            "{}: {} files, {} of them originals, held against the manifest, {}",
            args.dir.display(),
            proof.files,
            proof.originals,
            if clean { "nothing wrong" } else { "see above" }
        );
    }
    Ok(if clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}
