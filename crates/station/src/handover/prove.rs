use serrata_words::PackageManifest;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};

/// Name of the manifest in a package.
pub const MANIFEST: &str = "manifest.json";

/// What proving a package found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Proof {
    /// Files that the manifest names.
    pub files: usize,
    /// Originals among them.
    pub originals: usize,
    /// What is wrong, one sentence each.
    pub faults: Vec<String>,
}

/// Holds a folder against its manifest: every file there, of the length and with the hash that it says, and no other.
///
/// # Errors
/// Where the manifest cannot be read, or is none.
pub fn prove(dir: &Path) -> io::Result<Proof> {
    let place = dir.join(MANIFEST);
    let wrong = |e: &dyn std::fmt::Display| {
        io::Error::other(format!(
            "{}: is no manifest of a package ({e}); name a package's folder",
            place.display()
        ))
    };
    let manifest: PackageManifest = serde_json::from_slice(&std::fs::read(&place)?).map_err(|e| wrong(&e))?;
    if manifest.schema != PackageManifest::SCHEMA {
        return Err(wrong(&format!("its schema is {}", manifest.schema)));
    }
    let mut proof = Proof::default();
    let mut named: BTreeSet<PathBuf> = BTreeSet::from([PathBuf::from(MANIFEST)]);
    for f in &manifest.files {
        proof.files += 1;
        proof.originals += usize::from(!f.frames.is_empty());
        let Some(path) = within(&f.path) else {
            proof.faults.push(format!("{}: the manifest names a path that leaves the package", f.path));
            continue;
        };
        named.insert(path.clone());
        match hashed(&dir.join(&path)) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => {
                proof.faults.push(format!("{}: is missing; ask for the package again", f.path));
            }
            Err(e) => proof.faults.push(format!("{}: cannot be read ({e})", f.path)),
            Ok((bytes, _)) if bytes != f.bytes => {
                proof
                    .faults
                    .push(format!("{}: is {bytes} bytes long, not {}; ask for it again", f.path, f.bytes));
            }
            Ok((_, sha)) if sha != f.sha256 => {
                proof
                    .faults
                    .push(format!("{}: its bytes are not those that were sent; ask for it again", f.path));
            }
            Ok(_) => {}
        }
    }
    for entry in walkdir::WalkDir::new(dir).sort_by_file_name() {
        let entry = entry?;
        let path = entry.path().strip_prefix(dir).unwrap_or(entry.path());
        if !entry.file_type().is_dir() && !named.contains(path) {
            proof.faults.push(format!("{}: the manifest does not name it", path.display()));
        }
    }
    Ok(proof)
}

/// Unpacks a zip into a folder that exists. Names that leave the folder are refused before anything is written.
///
/// # Errors
/// Where it is no zip, a name leaves the folder, or the folder cannot be written.
pub fn unpack(zip: impl Read + io::Seek, dir: &Path) -> io::Result<()> {
    let mut archive = zip::ZipArchive::new(zip).map_err(io::Error::other)?;
    let names: Vec<String> = archive
        .file_names()
        .map(|n| n.map(std::borrow::Cow::into_owned))
        .collect::<Result<_, _>>()
        .map_err(io::Error::other)?;
    if let Some(wild) = names.iter().find(|n| within(n).is_none()) {
        return Err(io::Error::other(format!(
            "{wild}: a name that leaves the package; nothing was unpacked"
        )));
    }
    for (k, name) in names.iter().enumerate() {
        let mut entry = archive.by_index(k).map_err(io::Error::other)?;
        let Some(path) = within(name) else { continue };
        let place = dir.join(path);
        if let Some(parent) = place.parent() {
            std::fs::create_dir_all(parent)?;
        }
        let mut file = File::create_new(&place)?;
        io::copy(&mut entry, &mut file)?;
        file.sync_all()?;
    }
    Ok(())
}

/// A path of plain parts alone; none where it leaves the folder.
fn within(path: &str) -> Option<PathBuf> {
    let parts: Vec<Component<'_>> = Path::new(path).components().collect();
    let plain = !parts.is_empty() && parts.iter().all(|c| matches!(c, Component::Normal(_)));
    (plain && !path.contains('\\') && !path.ends_with('/')).then(|| PathBuf::from(path))
}

/// Length and SHA-256 of a file, read piece by piece.
fn hashed(path: &Path) -> io::Result<(u64, String)> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0u8; 1 << 20];
    let mut long = 0;
    loop {
        let n = file.read(&mut piece)?;
        if n == 0 {
            return Ok((long, hex::encode(hash.finalize())));
        }
        long += n as u64;
        hash.update(&piece[..n]);
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Contents, Entry, pack};
    use super::*;
    use bytes::Bytes;
    use std::io::Cursor;

    fn packed() -> Vec<u8> {
        let picture = Bytes::from_static(b"a picture");
        let sha = hex::encode(Sha256::digest(&picture));
        let contents = Contents {
            who: "RK".into(),
            originals: vec![(sha, "a.dcm".into(), vec![7])],
            entries: vec![Entry { path: "dye-R-fa/curves.csv".into(), bytes: b"x".to_vec() }],
            ..Contents::default()
        };
        let mut out = Cursor::new(Vec::new());
        pack(&contents, |_| Ok(picture.clone()), &mut out).unwrap();
        out.into_inner()
    }

    #[test]
    fn what_is_packed_is_proven_and_every_change_is_told() {
        let dir = tempfile::tempdir().unwrap();
        unpack(Cursor::new(packed()), dir.path()).unwrap();
        let proof = prove(dir.path()).unwrap();
        assert_eq!((proof.files, proof.originals, proof.faults.len()), (3, 1, 0), "{:?}", proof.faults);
        std::fs::write(dir.path().join("originals/001-a.dcm"), b"A picture").unwrap();
        std::fs::remove_file(dir.path().join("dye-R-fa/curves.csv")).unwrap();
        std::fs::write(dir.path().join("more.txt"), b"?").unwrap();
        let faults = prove(dir.path()).unwrap().faults.join("\n");
        for part in ["not those that were sent", "is missing", "does not name it"] {
            assert!(faults.contains(part), "{faults}");
        }
    }

    #[test]
    fn the_same_contents_give_the_same_bytes() {
        assert_eq!(packed(), packed());
    }

    #[test]
    fn an_original_that_changed_is_not_handed_over() {
        let contents =
            Contents { originals: vec![("00".into(), "a.dcm".into(), vec![7])], ..Contents::default() };
        let said = pack(&contents, |_| Ok(Bytes::from_static(b"b")), Cursor::new(Vec::new())).unwrap_err();
        assert!(said.to_string().contains("has changed"));
    }

    #[test]
    fn names_that_leave_the_package_are_refused() {
        for wild in ["../x", "/etc/x", "a/../../x", "a\\b", "", "a/"] {
            assert!(within(wild).is_none(), "{wild}");
        }
        assert!(within("originals/001-a.dcm").is_some());
        let dir = tempfile::tempdir().unwrap();
        assert!(unpack(Cursor::new(b"no zip".to_vec()), dir.path()).is_err());
        assert!(prove(dir.path()).is_err());
    }
}
