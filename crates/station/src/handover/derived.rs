use serrata_store::FrameId;
use std::fmt;
use std::sync::Arc;

/// A DICOM object made of pictures: made when it is wanted, on a thread that may block.
#[derive(Clone)]
pub struct Derived {
    /// Its name, for example `imaging-record`.
    pub name: String,
    /// SOP Instance UID: the same said again has the same.
    pub instance_uid: String,
    /// The frames that it is about.
    pub frames: Vec<FrameId>,
    make: Arc<dyn Fn() -> Result<Vec<u8>, String> + Send + Sync>,
}

impl Derived {
    /// An object that `make` gives as a file, or says why not.
    #[must_use]
    pub fn new(
        name: &str,
        instance_uid: String,
        frames: Vec<FrameId>,
        make: impl Fn() -> Result<Vec<u8>, String> + Send + Sync + 'static,
    ) -> Self {
        Self { name: name.to_owned(), instance_uid, frames, make: Arc::new(make) }
    }

    /// The file.
    ///
    /// # Errors
    /// Why it cannot be made, one phrase.
    pub fn make(&self) -> Result<Vec<u8>, String> {
        (self.make)()
    }
}

impl fmt::Debug for Derived {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Derived")
            .field("name", &self.name)
            .field("frames", &self.frames)
            .finish_non_exhaustive()
    }
}
