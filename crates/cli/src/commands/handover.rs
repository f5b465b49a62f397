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
use std::time::{Duration, Instant};

/// Hands a visit over: as a package with originals untouched, results, what was ordered and met, who did what, dye readings and
/// montages, and a manifest with hashes; or by DICOM to a destination of the server's.
///
/// A package is proven against its manifest before it is put in its place; only then do its frames count as sent. It names
/// the patient, unless it is made of copies (--deidentify): handle it by your local rules. By DICOM a frame counts as sent once the
/// other side answers for it or finds it; what has not arrived in time stays in the queue and goes on by itself.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata handover 4 --to reader/visit-4 --who RK\n  serrata handover 4 --to visit-4.zip --who RK\n  serrata verify reader/visit-4\n  serrata handover 4 --to archive --who RK"
)]
pub struct Args {
    #[command(flatten)]
    place: Where,
    /// The visit's number.
    visit: i64,
    /// A new folder, a file that ends in .zip, or the name of a destination (a folder of that name is written ./NAME).
    #[arg(long, value_name = "DIR|NAME")]
    to: PathBuf,
    /// Who hands it over: an account or initials.
    #[arg(long)]
    who: String,
    /// Frames that were set aside go along in a package, marked so.
    #[arg(long)]
    with_set_aside: bool,
    /// Copies that do not name the patient, in place of originals (DICOM PS3.15, basic profile; dates move by whole days).
    #[arg(long)]
    deidentify: bool,
    /// What stands for the patient in copies [default: a code of the house's own].
    #[arg(long, requires = "deidentify", value_name = "CODE")]
    code: Option<String>,
    /// Sex, age, size and weight stay in copies.
    #[arg(long, requires = "deidentify")]
    keep_characteristics: bool,
    /// Names and numbers of the instrument stay in copies.
    #[arg(long, requires = "deidentify")]
    keep_device: bool,
    /// Seconds to wait for the proof that a destination has everything.
    #[arg(long, default_value_t = 120, value_name = "SECONDS")]
    wait: u64,
    /// One JSON object with counts.
    #[arg(long)]
    json: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let (visit, to, who, aside) = (args.visit, args.to.clone(), args.who.clone(), args.with_set_aside);
    let mut how = format!("with_set_aside={aside}");
    if args.deidentify {
        how += &format!(
            "&deidentify=true&keep_characteristics={}&keep_device={}",
            args.keep_characteristics, args.keep_device
        );
        if let Some(code) = &args.code {
            how += &format!("&code={}", part(code));
        }
    }
    let copies_only = args.deidentify;
    let wait = Duration::from_secs(args.wait);
    let done = args.place.with(move |c| match destination(c, &to)? {
        Some(_) if copies_only => {
            bail!("copies leave as a package; name a folder or a file that ends in .zip")
        }
        Some(name) => sent(c, visit, &name, &who, aside, wait).map(Left::Sent),
        None => handed(c, visit, &to, &who, &how).map(Left::Package),
    })?;
    let done = match done {
        Left::Package(done) => done,
        Left::Sent(sent) => return Ok(sent.told(args)),
    };
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
            "{}: {} pictures and {} other files, proven against their manifest; {} frames left out",
            args.to.display(),
            done.originals,
            done.files - done.originals,
            done.left_out
        );
    }
    Ok(ExitCode::SUCCESS)
}

/// How the visit left.
enum Left {
    Package(Done),
    Sent(Sent),
}

/// What became of a visit that was sent.
#[derive(Default)]
struct Sent {
    done: usize,
    /// Not proven to have arrived: name and why.
    open: Vec<(String, String)>,
    left_out: usize,
}

impl Sent {
    fn told(&self, args: &Args) -> ExitCode {
        let to = args.to.display();
        if args.json {
            println!(
                "{}",
                json!({
                    "schema": "serrata.handover/1", "visit": args.visit, "to": to.to_string(), "arrived": self.done,
                    "open": self.open.iter().map(|(name, why)| json!({"name": name, "why": why})).collect::<Vec<_>>(),
                    "left_out": self.left_out,
                })
            );
        } else {
            println!("{to}: {} files have arrived, proven; {} frames left out", self.done, self.left_out);
        }
        for (name, why) in &self.open {
            eprintln!("{name}: has not arrived: {why}");
        }
        if self.open.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
    }
}

/// The destination that these words name; none where they name a place on this machine.
fn destination(c: Client, to: &Path) -> Result<Option<String>> {
    let Some(word) = to.to_str().filter(|w| !w.contains(['/', '\\'])) else { return Ok(None) };
    let known = c.get("/sending")?;
    let named = known["destinations"].as_array().into_iter().flatten().any(|d| d["name"] == word);
    Ok(named.then(|| word.to_owned()))
}

/// Queues a visit and waits until all of it has arrived, needs a person, or the time is up.
fn sent(c: Client, visit: i64, to: &str, who: &str, with_set_aside: bool, wait: Duration) -> Result<Sent> {
    if with_set_aside {
        bail!("frames that were set aside are not sent by DICOM; name a folder, or bring them back first");
    }
    let until = Instant::now() + wait;
    let mut answer = c.post(&format!("/visits/{visit}/send"), &json!({"who": who, "destination": to}))?;
    let left_out = answer["left_out"].as_array().map_or(0, Vec::len);
    loop {
        let mut out = Sent { left_out, ..Sent::default() };
        let mut moving = 0;
        for d in answer["deliveries"].as_array().into_iter().flatten().filter(|d| d["destination"] == to) {
            let state = d["state"].as_str().unwrap_or_default();
            let why = || d["why"].as_str().unwrap_or("it waits for its turn").to_owned();
            match state {
                "done" => out.done += 1,
                "withdrawn" => out.left_out += 1,
                _ => out.open.push((d["name"].as_str().unwrap_or_default().to_owned(), why())),
            }
            moving += usize::from(matches!(state, "waiting" | "stored" | "asked"));
        }
        if moving == 0 || Instant::now() >= until {
            return Ok(out);
        }
        std::thread::sleep(Duration::from_millis(200));
        answer = c.get(&format!("/visits/{visit}/sending"))?;
    }
}

struct Done {
    files: usize,
    originals: usize,
    frames: Vec<i64>,
    left_out: usize,
    deidentified: bool,
}

fn handed(c: Client, visit: i64, to: &Path, who: &str, how: &str) -> Result<Done> {
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
    c.fetch(&format!("/visits/{visit}/package?who={}&{how}", part(who)), &mut zip)?;
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
    let kind = if as_zip { "zip" } else { "folder" };
    let recipient = format!("package ({kind}{})", if done.deidentified { ", copies" } else { "" });
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
        deidentified: manifest.deidentified,
    })
}
