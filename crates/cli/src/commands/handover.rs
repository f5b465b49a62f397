//! `serrata handover`: what leaves for the reader.

use crate::client::{Client, Where, part};
use anyhow::{Context, Result, bail};
use serde_json::json;
use serrata_station::handover::{MANIFEST, prove, unpack};
use serrata_station::montage::Folder;
use std::fs::File;
use std::io::Seek;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Hands a visit over as a package: originals untouched, results, what was ordered and met, who did what, dye readings and
/// montages, and a manifest with hashes.
///
/// The package is proven against its manifest before it is put in its place; only then do its frames count as sent. It names
/// the patient: handle it by your local rules. Identifying values are not taken out.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata handover 4 --to reader/visit-4 --who RK\n  serrata handover 4 --to visit-4.zip --who RK\n  serrata verify reader/visit-4"
)]
pub struct Args {
    #[command(flatten)]
    place: Where,
    /// The visit's number.
    visit: i64,
    /// A new folder, or a file that ends in .zip.
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Who hands it over: an account or initials.
    #[arg(long)]
    who: String,
    /// Frames that were set aside go along, marked so.
    #[arg(long)]
    with_set_aside: bool,
    /// One JSON object with counts.
    #[arg(long)]
    json: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let (visit, to, who, aside) = (args.visit, args.to.clone(), args.who.clone(), args.with_set_aside);
    let done = args.place.with(move |c| handed(c, visit, &to, &who, aside))?;
    if args.json {
        println!(
            "{}",
            json!({
                "schema": "serrata.handover/1", "visit": args.visit, "to": args.to.to_string_lossy(),
                "files": done.files, "originals": done.originals, "frames": done.frames.len(), "left_out": done.left_out,
            })
        );
    } else {
        println!(
            "{}: {} originals and {} other files, proven against their manifest; {} frames left out",
            args.to.display(),
            done.originals,
            done.files - done.originals,
            done.left_out
        );
    }
    Ok(ExitCode::SUCCESS)
}

struct Done {
    files: usize,
    originals: usize,
    frames: Vec<i64>,
    left_out: usize,
}

fn handed(c: Client, visit: i64, to: &Path, who: &str, with_set_aside: bool) -> Result<Done> {
    let as_zip = to.extension().is_some_and(|e| e.eq_ignore_ascii_case("zip"));
    let shown = to.display();
    if as_zip && to.exists() {
        bail!("{shown}: is there already; name another file");
    }
    let parent = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !parent.is_dir() {
        bail!("{}: is no folder; make it first, or name another place", parent.display());
    }
    // The zip lies beside its place without a name of its own until it is proven.
    let mut zip = tempfile::NamedTempFile::new_in(parent)
        .with_context(|| format!("{}: cannot be written; check the space", parent.display()))?;
    c.fetch(&format!("/visits/{visit}/package?who={}&with_set_aside={with_set_aside}", part(who)), &mut zip)?;
    zip.as_file().sync_all()?;
    zip.rewind()?;
    let done = if as_zip {
        let proof = tempfile::tempdir_in(parent)?;
        let done = proven(&mut zip.as_file(), proof.path())?;
        zip.persist_noclobber(to)
            .with_context(|| format!("{shown}: cannot be put there; name another file"))?;
        done
    } else {
        let folder = Folder::begin(to, MANIFEST)?;
        let done = proven(&mut zip.as_file(), folder.path())?;
        folder.finish()?;
        done
    };
    let recipient = if as_zip { "package (zip)" } else { "package (folder)" };
    for frame in &done.frames {
        c.post(&format!("/frames/{frame}/sent"), &json!({"who": who, "recipient": recipient}))?;
    }
    Ok(done)
}

/// Unpacks a package and holds it against its manifest.
fn proven(zip: &mut &File, folder: &Path) -> Result<Done> {
    unpack(zip, folder)?;
    let proof = prove(folder)?;
    if let Some(first) = proof.faults.first() {
        bail!("the package is not whole: {first}; nothing was handed over");
    }
    let manifest: serrata_words::PackageManifest =
        serde_json::from_slice(&std::fs::read(folder.join(MANIFEST))?)?;
    Ok(Done {
        files: proof.files,
        originals: proof.originals,
        frames: manifest.files.iter().flat_map(|f| f.frames.iter().copied()).collect(),
        left_out: manifest.left_out.len(),
    })
}
