//! A watched folder: files that are still growing, network shares, duplicates, files renamed into place.
//!
//! The folder is looked through every second, since shares send no news; local news only makes it sooner. A file is
//! taken when size and time stood still for a while. Files are never moved, changed or deleted.

use super::take;
use crate::Station;
use crate::reading::is_whole;
use notify::Watcher;
use serrata_frame::DecodeError;
use serrata_store::Source;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};
use tokio::sync::Notify;

/// How often the folder is looked through.
const EVERY: Duration = Duration::from_secs(1);

/// How long a file must stand still before it is taken. Judgement: longer than a share's write-behind delay.
const SETTLE: Duration = Duration::from_millis(1500);

/// How long a file that ends in the middle of the picture must stand still before it counts as truncated.
const GIVE_UP: Duration = Duration::from_secs(30);

/// What is known of one file.
struct Known {
    size: u64,
    modified: Option<SystemTime>,
    since: Instant,
    taken: bool,
}

/// Watches until the server stops. A folder that goes away is looked for again.
pub async fn watch(station: Station, folder: PathBuf) {
    let news = std::sync::Arc::new(Notify::new());
    let _watcher = local_news(&folder, &news);
    let mut known: HashMap<PathBuf, Known> = HashMap::new();
    let mut told = false;
    loop {
        let at = folder.clone();
        match tokio::task::spawn_blocking(move || list(&at)).await {
            Ok(Ok(files)) => {
                told = false;
                for (path, size, modified) in files {
                    step(&station, &mut known, path, size, modified).await;
                }
            }
            Ok(Err(e)) if !told => {
                told = true;
                tracing::error!(
                    "{}: the watched folder cannot be read ({e}); it is tried again",
                    folder.display()
                );
            }
            _ => {}
        }
        let _ = tokio::time::timeout(EVERY, news.notified()).await; // sooner with local news
        tokio::time::sleep(Duration::from_millis(50)).await; // news come in bursts
    }
}

/// News from the local file system; without them (as on shares) looking through goes on all the same.
fn local_news(folder: &Path, news: &std::sync::Arc<Notify>) -> Option<notify::RecommendedWatcher> {
    let news = news.clone();
    let mut watcher = notify::recommended_watcher(move |_| news.notify_one()).ok()?;
    watcher.watch(folder, notify::RecursiveMode::Recursive).ok()?;
    Some(watcher)
}

/// All files below the folder with size and time, in byte order; hidden ones and links are left out.
fn list(folder: &Path) -> std::io::Result<Vec<(PathBuf, u64, Option<SystemTime>)>> {
    std::fs::read_dir(folder)?;
    let hidden = |e: &walkdir::DirEntry| e.depth() > 0 && e.file_name().to_string_lossy().starts_with('.');
    let mut files: Vec<_> = walkdir::WalkDir::new(folder)
        .into_iter()
        .filter_entry(|e| !hidden(e))
        .flatten()
        .filter(|e| e.file_type().is_file())
        .filter_map(|e| {
            let m = e.metadata().ok()?;
            Some((e.into_path(), m.len(), m.modified().ok()))
        })
        .collect();
    files.sort();
    Ok(files)
}

/// Takes a file if it has stood still long enough.
async fn step(
    station: &Station,
    known: &mut HashMap<PathBuf, Known>,
    path: PathBuf,
    size: u64,
    modified: Option<SystemTime>,
) {
    let now = Instant::now();
    let entry = known.entry(path.clone()).or_insert(Known { size, modified, since: now, taken: false });
    if (entry.size, entry.modified) != (size, modified) {
        *entry = Known { size, modified, since: now, taken: false };
    }
    let still = now.duration_since(entry.since);
    if entry.taken || still < SETTLE {
        return;
    }
    let bytes = match tokio::fs::read(&path).await {
        Ok(bytes) => bytes,
        Err(e) => {
            tracing::warn!("{}: cannot be read yet ({e})", path.display());
            entry.since = now;
            return;
        }
    };
    let (bytes, whole) = match tokio::task::spawn_blocking(move || {
        let whole = is_whole(&bytes);
        (bytes, whole)
    })
    .await
    {
        Ok(done) => done,
        Err(_) => return,
    };
    // An empty or cut-off file is most likely still on its way.
    if matches!(whole, Err(DecodeError::Truncated | DecodeError::Empty)) && still < GIVE_UP {
        return;
    }
    let name = path.to_string_lossy().into_owned();
    let shown = path.file_name().map_or_else(|| name.clone(), |n| n.to_string_lossy().into_owned());
    match take(station, &shown, Source::Folder { path: name }, bytes).await {
        Ok(_) => entry.taken = true,
        Err(e) => {
            tracing::error!("{}: {e} It is tried again.", path.display());
            entry.since = now;
        }
    }
}
