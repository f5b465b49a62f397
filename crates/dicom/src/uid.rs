//! UIDs under the arc 2.25, made of UUIDs (PS3.5 annex B.2).

use uuid::{Builder, Uuid};

/// A UID derived from the key of a piece of work: the same key gives the same UID, so that a repeated run sends
/// nothing twice as new. The UUID is of version 8 and takes the first 16 bytes of the hash.
///
/// ```
/// let uid = serrata_dicom::uid::derived(&[7; 32]);
/// assert_eq!(uid, serrata_dicom::uid::derived(&[7; 32]));
/// assert!(uid.starts_with("2.25.") && uid.len() <= 64);
/// ```
#[must_use]
pub fn derived(work_key_sha256: &[u8; 32]) -> String {
    let mut half = [0; 16];
    half.copy_from_slice(&work_key_sha256[..16]);
    written(Builder::from_custom_bytes(half).into_uuid())
}

/// A fresh UID from a random UUID (version 4).
#[must_use]
pub fn fresh() -> String {
    written(Uuid::new_v4())
}

/// Whether text is a UID: digits in groups divided by dots, 64 characters at most.
///
/// ```
/// assert!(serrata_dicom::uid::is_valid("1.2.840.10008.1.1"));
/// assert!(!serrata_dicom::uid::is_valid("../1.2"));
/// ```
#[must_use]
pub fn is_valid(text: &str) -> bool {
    let group = |g: &str| !g.is_empty() && g.bytes().all(|b| b.is_ascii_digit());
    text.len() <= 64 && text.split('.').all(group)
}

fn written(uuid: Uuid) -> String {
    format!("2.25.{}", uuid.as_u128())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn derived_uids_are_valid_and_differ(a in any::<[u8; 32]>(), b in any::<[u8; 32]>()) {
            let uid = derived(&a);
            prop_assert!(uid.len() <= 64);
            prop_assert!(uid.split('.').all(|c| !c.is_empty() && c.bytes().all(|b| b.is_ascii_digit())));
            prop_assert!(uid.split('.').all(|c| c == "0" || !c.starts_with('0')));
            let number: u128 = uid["2.25.".len()..].parse().unwrap();
            let uuid = Uuid::from_u128(number);
            prop_assert_eq!(uuid.get_version_num(), 8);
            prop_assert_eq!(uuid.get_variant(), uuid::Variant::RFC4122);
            // Four bits tell the version and two the variant; all others are the hash's.
            let own = |k: &[u8; 32]| [&k[..6], &[k[6] & 0x0F, k[7], k[8] & 0x3F], &k[9..16]].concat();
            prop_assert_eq!(uid == derived(&b), own(&a) == own(&b));
        }
    }

    #[test]
    fn fresh_uids_differ() {
        assert_ne!(fresh(), fresh());
    }
}
