//! Footprints of frames, kept while they stay the same: making one takes some hundredths of a second.

use crate::Station;
use crate::charts::{Lie, Placed, lie};
use lru::LruCache;
use serrata_eye::Footprint;
use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex, PoisonError};

/// How many are kept: each takes 0.8 MB.
const KEPT: NonZeroUsize = NonZeroUsize::new(96).expect("not zero");

/// What a footprint hangs on: the frame, its observation, and how it counts.
type Key = (i64, Option<i64>, &'static str, &'static str);

/// Footprints that were made.
pub struct Footprints(Mutex<LruCache<Key, Arc<Footprint>>>);

impl Default for Footprints {
    fn default() -> Self {
        Self(Mutex::new(LruCache::new(KEPT)))
    }
}

impl Footprints {
    fn get(&self, key: &Key) -> Option<Arc<Footprint>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(key).cloned()
    }

    fn put(&self, key: Key, made: Arc<Footprint>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).put(key, made);
    }
}

/// What a frame shows in the retinal frame, and how it lies; none where nobody can say where it lies.
pub async fn footprint(station: &Station, frame: &Placed<'_>) -> Option<(Arc<Footprint>, Lie)> {
    let lie = lie(frame)?;
    let key = (frame.id, frame.observation_id, frame.eye.word(), frame.gaze.word());
    if let Some(made) = station.footprints().get(&key) {
        return Some((made, lie));
    }
    let (place, picture, turn) =
        (frame.observation.visible_retina.place.clone(), lie.picture.clone(), lie.to_retina);
    let made = station.pixels(move || Footprint::from_region(&place, &picture, turn)).await?;
    let made = Arc::new(made.ok()?);
    station.footprints().put(key, Arc::clone(&made));
    Some((made, lie))
}
