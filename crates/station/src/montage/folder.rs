use super::MontageError;
use std::path::{Path, PathBuf};

/// A folder that is filled beside its place and moved there whole.
pub struct Folder {
    place: PathBuf,
    making: PathBuf,
}

impl Folder {
    /// Begins a folder; what stands at its place must be empty or an earlier result.
    ///
    /// `mark`: a file that an earlier result holds.
    ///
    /// # Errors
    /// [`MontageError::File`] where the place is taken by other files or cannot be written.
    pub fn begin(place: &Path, mark: &str) -> Result<Self, MontageError> {
        if place.exists() {
            let mut inside = std::fs::read_dir(place)
                .map_err(|_| MontageError::file(place, "is no folder; name another"))?;
            if inside.next().is_some() && !place.join(mark).exists() {
                return Err(MontageError::file(place, "the folder holds other files; name a new folder"));
            }
        }
        let name = place.file_name().map(|n| n.to_string_lossy().into_owned());
        let Some(name) = name else {
            return Err(MontageError::file(place, "cannot be a folder; name another"));
        };
        let making = place.with_file_name(format!(".{name}.making-{}", std::process::id()));
        std::fs::create_dir_all(&making).map_err(|e| {
            MontageError::file(&making, format!("the folder cannot be made ({e}); check the space"))
        })?;
        Ok(Self { place: place.to_path_buf(), making })
    }

    /// Where files are put meanwhile.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.making
    }

    /// Puts the folder in its place.
    ///
    /// # Errors
    /// [`MontageError::File`] where the place cannot be written; what stood there stays.
    pub fn finish(self) -> Result<(), MontageError> {
        let replaced =
            |e| MontageError::file(&self.place, format!("the earlier result cannot be replaced ({e})"));
        // The earlier result stands beside until the new one is in its place.
        let old = self.making.with_extension(format!("old-{}", std::process::id()));
        let there = self.place.exists();
        if there {
            std::fs::rename(&self.place, &old).map_err(replaced)?;
        }
        let put = std::fs::rename(&self.making, &self.place);
        if put.is_err() && there {
            std::fs::rename(&old, &self.place).map_err(replaced)?;
        }
        put.map_err(|e| MontageError::file(&self.place, format!("the folder cannot be put there ({e})")))?;
        if there {
            std::fs::remove_dir_all(&old).map_err(replaced)?;
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // After `finish` it is gone; after a failure nothing half-written stays.
        let _ = std::fs::remove_dir_all(&self.making);
    }
}
