use serrata_words::Instrument;

/// The profiles as they stand in the repository's `instruments` folder: (name, text).
const TEXTS: [(&str, &str); 2] = [
    ("demo-wide", include_str!("../../../instruments/demo-wide.toml")),
    ("demo-small", include_str!("../../../instruments/demo-small.toml")),
];

/// A profile that does not read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the built-in instrument profile {name} does not read: {detail}; build the program anew from its sources"
)]
pub struct InstrumentError {
    name: &'static str,
    detail: String,
}

/// The invented instruments, the main one first.
///
/// # Errors
/// Where a built-in profile does not read, which a test rules out.
pub fn instruments() -> Result<Vec<Instrument>, InstrumentError> {
    TEXTS
        .iter()
        .map(|&(name, text)| {
            toml::from_str(text).map_err(|e| InstrumentError { name, detail: e.to_string() })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serrata_eye::Stereographic;

    #[test]
    fn the_profiles_read_and_every_number_is_marked() {
        let all = instruments().unwrap();
        for (i, (name, text)) in all.iter().zip(TEXTS) {
            assert_eq!(i.name, name);
            assert!(Stereographic::of(i, i.width, i.height).is_some());
            for line in
                text.lines().filter(|l| !l.starts_with('#') && l.contains(|c: char| c.is_ascii_digit()))
            {
                assert!(line.contains("# invented"), "{name}: {line}");
            }
        }
    }

    #[test]
    fn the_main_one_sees_past_the_equator() {
        let i = &instruments().unwrap()[0];
        let p = Stereographic::of(i, i.width, i.height).unwrap();
        let end = p.to_direction([crate::aperture::END * 1800.0 + 1800.0, 1800.0]);
        let deg = end.z().acos().to_degrees();
        assert!((95.0..100.0).contains(&deg), "{deg}");
    }
}
