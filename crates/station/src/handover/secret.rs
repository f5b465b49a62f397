use serrata_dicom::Secret;
use serrata_store::SECRET_FILE;
use std::io::{self, Read, Write};
use std::path::Path;

/// The house's secret that copies are made with: made on first use, readable by its owner alone.
///
/// # Errors
/// Where it cannot be read or made, or has another length.
pub fn house_secret(data: &Path) -> io::Result<Secret> {
    let place = data.join(SECRET_FILE);
    let wrong = |what: &str| io::Error::other(format!("{}: {what}", place.display()));
    let mut bytes = Vec::new();
    match std::fs::File::open(&place) {
        Ok(file) => {
            file.take(64).read_to_end(&mut bytes)?;
        }
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            bytes.extend_from_slice(uuid::Uuid::new_v4().as_bytes());
            bytes.extend_from_slice(uuid::Uuid::new_v4().as_bytes());
            // Put in its place whole, or not at all; another one that was quicker stays.
            let mut fresh = tempfile::NamedTempFile::new_in(data)?;
            fresh.write_all(&bytes)?;
            fresh.as_file().sync_all()?;
            match fresh.persist_noclobber(&place) {
                Ok(_) => {}
                Err(e) if e.error.kind() == io::ErrorKind::AlreadyExists => return house_secret(data),
                Err(e) => return Err(e.error),
            }
        }
        Err(e) => return Err(e),
    }
    let key: [u8; 32] = bytes.try_into().map_err(|_| {
        wrong("is no secret of 32 bytes; bring it back from a copy, or move it away to begin a new one")
    })?;
    Ok(Secret(key))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_made_once_and_another_length_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let first = house_secret(dir.path()).unwrap();
        assert_eq!(house_secret(dir.path()).unwrap(), first);
        std::fs::write(dir.path().join(SECRET_FILE), b"short").unwrap();
        assert!(house_secret(dir.path()).unwrap_err().to_string().contains("32 bytes"));
    }
}
