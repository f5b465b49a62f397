//! Which files a command line means.

use crate::failure::io_remedy;
use serrata_frame::Limits;
use serrata_words::ErrorLine;
use std::io::Read;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

/// One input in the order in which it is to be answered: a file, or a folder that cannot be read.
pub type Input = Result<PathBuf, ErrorLine>;

/// Endings of files that lie beside pictures in a folder and are none. A file that is named by itself is always
/// looked at.
const BESIDE: [&str; 16] = [
    "csv", "json", "txt", "md", "xml", "html", "pdf", "toml", "yaml", "yml", "log", "ini", "db", "zip",
    "doc", "docx",
];

/// Whether a file in a folder is left out by its ending.
fn is_beside(path: &Path) -> bool {
    path.extension().is_some_and(|e| BESIDE.iter().any(|b| e.eq_ignore_ascii_case(b)))
}

/// Files in argument order; folders recursively, sorted by path bytes, hidden files skipped.
pub fn collect(arguments: &[PathBuf]) -> Vec<Input> {
    let mut all = Vec::new();
    for argument in arguments {
        if argument.is_dir() {
            let before = all.len();
            let left_out = walk(argument, &mut all);
            if left_out > 0 {
                eprintln!(
                    "{}: {left_out} files left out that are no pictures by their names.",
                    argument.display()
                );
            }
            if all.len() == before {
                all.push(Err(ErrorLine::new(
                    argument.to_string_lossy(),
                    "empty_folder",
                    "the folder holds no pictures",
                    "Name a folder with pictures in it",
                )));
            }
        } else {
            all.push(Ok(argument.clone()));
        }
    }
    all
}

/// Adds what lies below a folder; says how many files were left out by their endings.
fn walk(folder: &Path, all: &mut Vec<Input>) -> usize {
    let mut left_out = 0;
    let hidden = |e: &walkdir::DirEntry| e.depth() > 0 && e.file_name().as_bytes().starts_with(b".");
    let mut found: Vec<(PathBuf, Option<ErrorLine>)> = Vec::new();
    for entry in walkdir::WalkDir::new(folder).follow_links(true).into_iter().filter_entry(|e| !hidden(e)) {
        match entry {
            Ok(e) if e.file_type().is_dir() => {}
            Ok(e) if is_beside(e.path()) => left_out += 1,
            Ok(e) => found.push((e.into_path(), None)),
            Err(e) => {
                let path = e.path().unwrap_or(folder).to_path_buf();
                let (code, remedy) = e.io_error().map_or(("unreadable", "Check the links in it"), io_remedy);
                let what =
                    if path.is_dir() { "the folder cannot be read" } else { "the file cannot be read" };
                let line = ErrorLine::new(path.to_string_lossy(), code, what, remedy);
                found.push((path, Some(line)));
            }
        }
    }
    found.sort_by(|a, b| a.0.as_os_str().as_bytes().cmp(b.0.as_os_str().as_bytes()));
    all.extend(found.into_iter().map(|(path, e)| e.map_or(Ok(path), Err)));
    left_out
}

/// A file's bytes, within the limits. A device tells no size, so what is read is counted.
pub fn read(path: &Path, limits: &Limits) -> Result<Vec<u8>, Box<ErrorLine>> {
    let name = path.to_string_lossy();
    let io = |e: std::io::Error| {
        let (code, remedy) = io_remedy(&e);
        Box::new(ErrorLine::new(name.as_ref(), code, format!("the file cannot be read ({e})"), remedy))
    };
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(io)?;
    let said = file.metadata().map_err(io)?.len();
    if said <= limits.bytes {
        file.take(limits.bytes + 1).read_to_end(&mut bytes).map_err(io)?;
        if bytes.len() as u64 <= limits.bytes {
            return Ok(bytes);
        }
    }
    Err(Box::new(ErrorLine::new(
        name.as_ref(),
        "too_much",
        format!("the file has more than the {} MB that are allowed", limits.bytes / 1_000_000),
        "Export fewer frames into one file",
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_without_end_is_refused() {
        let limits = Limits { bytes: 1000, ..Limits::default() };
        assert_eq!(read(Path::new("/dev/zero"), &limits).unwrap_err().code, "too_much");
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a");
        std::fs::write(&path, [1; 1000]).unwrap();
        assert_eq!(read(&path, &limits).unwrap().len(), 1000);
        std::fs::write(&path, [1; 1001]).unwrap();
        assert_eq!(read(&path, &limits).unwrap_err().code, "too_much");
        let e = read(dir.path(), &Limits::default()).unwrap_err();
        assert!(e.remedy.contains("not a folder"), "{e:?}");
    }

    #[test]
    fn folders_are_walked_in_byte_order_without_hidden_files_and_papers() {
        let dir = tempfile::tempdir().unwrap();
        for name in ["b.png", "a/z.png", "a/.hidden", ".git/x", "C.png", "a/labels.CSV"] {
            let path = dir.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, b"x").unwrap();
        }
        let got: Vec<String> = collect(&[dir.path().to_path_buf()])
            .into_iter()
            .map(|i| i.unwrap().strip_prefix(dir.path()).unwrap().to_string_lossy().into_owned())
            .collect();
        assert_eq!(got, ["C.png", "a/z.png", "b.png"]);
    }
}
