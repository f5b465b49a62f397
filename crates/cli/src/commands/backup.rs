//! `serrata backup`: a consistent copy of a data folder.

use anyhow::Result;
use std::path::PathBuf;
use std::process::ExitCode;

/// Copies a data folder so that database and originals fit together.
///
/// The server may go on running: what arrives meanwhile is in the next copy.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata backup /mnt/backup/monday --data clinic\n  serrata verify /mnt/backup/monday"
)]
pub struct Args {
    /// Folder for the copy; must not exist or be empty.
    dir: PathBuf,
    /// Data folder.
    #[arg(long, default_value = "serrata-data")]
    data: PathBuf,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    if !args.data.join("serrata.sqlite").exists() {
        anyhow::bail!(
            "{}: there is no Serrata data here; name the data folder with --data",
            args.data.display()
        );
    }
    let copied = tokio::runtime::Runtime::new()?.block_on(serrata_store::backup(&args.data, &args.dir))?;
    println!("{}: {copied} originals copied to {}", args.data.display(), args.dir.display());
    Ok(ExitCode::SUCCESS)
}
