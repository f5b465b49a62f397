//! Pictures whose labels a person corrected, once more with the right ones.

use super::{About, CORRECTED, nth, number_of, stamp};
use crate::handover::Derived;
use serrata_dicom::{Correction, write_corrected};
use serrata_store::Corrections;

/// One object a corrected picture. Where a file holds several frames, or a header cannot tell the label, the object says why it is not
/// made.
pub(super) fn corrected(about: &About<'_>) -> Vec<Derived> {
    let corrected =
        |k: &serrata_store::KeptFrame| k.set_aside.is_none() && k.corrections != Corrections::default();
    let kept = about.stand.judged.iter().map(|j| &j.kept).filter(|k| corrected(k));
    let one = |(n, k): (usize, &serrata_store::KeptFrame)| {
        let original = about.instance(&k.sha256)?;
        let c = k.corrections;
        let number = number_of(std::slice::from_ref(&original), &format!("corrected as {c:?}"));
        let correction = Correction {
            eye: c.eye,
            modality: c.modality,
            gaze: c.gaze,
            corrected: stamp(about.stand.now_us),
            series_uid: about.series(CORRECTED),
            instance_uid: number.clone(),
            series_number: CORRECTED,
            instance_number: nth(n),
        };
        let read = about.reader(&k.sha256);
        let make = move || write_corrected(&read()?, &correction).map_err(|e| e.to_string());
        Some(Derived::new(&format!("corrected-{}", k.id.0), number, vec![k.id], make))
    };
    kept.enumerate().filter_map(one).collect()
}
