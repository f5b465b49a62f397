//! Profiles of instruments: those that come with Serrata, and files of the clinic's own.

use serrata_words::Instrument;

/// Texts of the profiles that come with Serrata; both instruments are invented.
const SHIPPED: [&str; 2] = [
    include_str!("../../../instruments/demo-wide.toml"),
    include_str!("../../../instruments/demo-small.toml"),
];

/// A profile that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum InstrumentError {
    /// No such profile.
    #[error("{given}: there is no such instrument profile; name one of {known}, or a TOML file")]
    Unknown {
        /// What was given.
        given: String,
        /// Names that are known.
        known: String,
    },
    /// A file that is no profile.
    #[error("{file}: the instrument profile cannot be read: {detail}")]
    Broken {
        /// The file.
        file: String,
        /// Line and reason.
        detail: String,
    },
}

/// The profiles that come with Serrata.
#[must_use]
pub fn shipped() -> Vec<Instrument> {
    // A test reads every text, so none is dropped here.
    SHIPPED.iter().filter_map(|text| toml::from_str(text).ok()).collect()
}

/// A profile by its name or by the name of a TOML file.
///
/// # Errors
/// [`InstrumentError`] with the file and the reason.
pub fn find(given: &str) -> Result<Instrument, InstrumentError> {
    let shipped = shipped();
    if let Some(i) = shipped.iter().find(|i| i.name == given) {
        return Ok(i.clone());
    }
    match std::fs::read_to_string(given) {
        Ok(text) => toml::from_str(&text).map_err(|e| InstrumentError::Broken {
            file: given.to_owned(),
            detail: e.to_string().trim().replace('\n', " "),
        }),
        Err(_) => Err(InstrumentError::Unknown {
            given: given.to_owned(),
            known: shipped.iter().map(|i| i.name.as_str()).collect::<Vec<_>>().join(", "),
        }),
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn every_shipped_profile_reads() {
        assert_eq!(super::shipped().len(), super::SHIPPED.len());
    }

    #[test]
    fn an_unknown_name_is_told_with_the_known_ones() {
        let text = super::find("no-such").unwrap_err().to_string();
        assert!(text.starts_with("no-such:") && text.contains(&super::shipped()[0].name), "{text}");
    }
}
