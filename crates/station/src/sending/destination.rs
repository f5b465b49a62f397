use serde::Deserialize;
use serrata_dicom::{Peer, WebPeer};
use std::time::Duration;

/// How the arrival of an object is proven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Proof {
    /// It answers for what it has (Storage Commitment).
    #[default]
    Commitment,
    /// It is asked for each object by query.
    Query,
}

impl Proof {
    /// The word in settings and in the API.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Commitment => "commitment",
            Self::Query => "query",
        }
    }
}

/// A place that pictures are sent to.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Destination {
    /// What the clinic calls it, for example `archive`.
    pub name: String,
    /// Host and port, or where its web services are: `http://HOST:PORT/PATH` (STOW-RS and QIDO-RS).
    pub address: String,
    /// Its AE title; none where it is sent to over the web.
    #[serde(default)]
    pub ae_title: String,
    /// How arrival is proven.
    #[serde(default)]
    pub proof: Proof,
    /// Whether objects made of the pictures go along: the paper, selections, the report, corrected labels, montages.
    #[serde(default)]
    pub derived: bool,
    /// Seconds that it may be silent.
    #[serde(default = "usual_silence")]
    pub silence_s: u64,
}

/// Judgement: a busy archive answers within it, and a dead one is noticed while somebody still looks.
const fn usual_silence() -> u64 {
    30
}

impl Destination {
    /// What is wrong with it, one sentence; none where it can be used.
    #[must_use]
    pub fn fault(&self) -> Option<String> {
        let plain = |c: char| c.is_alphanumeric() || "-_ .".contains(c);
        if self.name.trim().is_empty() || self.name.len() > 40 || !self.name.chars().all(plain) {
            return Some(format!(
                "destination {:?}: its name has 1 to 40 letters, digits, blanks, dots or dashes",
                self.name
            ));
        }
        if let Some(web) = self.web() {
            return match web.fault() {
                Some(why) => Some(format!("destination {}: {why}", self.name)),
                None if !self.ae_title.is_empty() => {
                    Some(format!("destination {}: what is sent to over the web has no AE title", self.name))
                }
                None if !(1..=3600).contains(&self.silence_s) => {
                    Some(format!("destination {}: silence_s is from 1 to 3600", self.name))
                }
                None => None,
            };
        }
        let port = self
            .address
            .rsplit_once(':')
            .and_then(|(host, port)| (!host.is_empty()).then(|| port.parse::<u16>()));
        if !matches!(port, Some(Ok(1..))) {
            return Some(format!(
                "destination {}: its address is HOST:PORT, not {:?}",
                self.name, self.address
            ));
        }
        let title = self.ae_title.trim();
        if title.is_empty()
            || title.len() > 16
            || !title.chars().all(|c| c.is_ascii_graphic() || c == ' ')
            || title.contains('\\')
        {
            return Some(format!("destination {}: its AE title has 1 to 16 plain characters", self.name));
        }
        if !(1..=3600).contains(&self.silence_s) {
            return Some(format!("destination {}: silence_s is from 1 to 3600", self.name));
        }
        None
    }

    /// It as a place on the web, where it is one. There arrival is always proven by query.
    #[must_use]
    pub fn web(&self) -> Option<WebPeer> {
        self.address.contains("://").then(|| WebPeer {
            address: self.address.trim_end_matches('/').to_owned(),
            silence: Duration::from_secs(self.silence_s),
        })
    }

    /// How its arrival is proven.
    #[must_use]
    pub fn proof(&self) -> Proof {
        if self.address.contains("://") { Proof::Query } else { self.proof }
    }

    /// It as a DICOM peer; `ours` is our AE title.
    #[must_use]
    pub fn peer(&self, ours: &str) -> Peer {
        Peer {
            address: self.address.clone(),
            called: self.ae_title.trim().to_owned(),
            calling: ours.to_owned(),
            silence: Duration::from_secs(self.silence_s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_are_read_and_faults_told() {
        let read = |text: &str| toml::from_str::<Destination>(text);
        let good = read("name = 'archive'\naddress = '10.0.0.5:104'\nae_title = 'ARCHIVE'").unwrap();
        assert_eq!((good.proof, good.silence_s, good.fault()), (Proof::Commitment, 30, None));
        for (field, value) in [
            ("name", ""),
            ("name", "a/b"),
            ("address", "10.0.0.5"),
            ("address", ":104"),
            ("address", "host:0"),
            ("ae_title", ""),
            ("ae_title", "SEVENTEEN_LETTERS"),
            ("address", "https://host/dicom-web"),
            ("address", "http:///dicom-web"),
        ] {
            let mut bad = good.clone();
            match field {
                "name" => bad.name = value.into(),
                "address" => bad.address = value.into(),
                _ => bad.ae_title = value.into(),
            }
            assert!(bad.fault().is_some(), "{field} {value}");
        }
        let web = read("name = 'web'\naddress = 'http://10.0.0.5:8042/dicom-web/'\nderived = true").unwrap();
        assert_eq!((web.proof(), web.derived, web.fault()), (Proof::Query, true, None));
        assert!(
            read("name = 'a'\naddress = 'b:1'\nae_title = 'C'\nsilent = 3").is_err(),
            "an unknown word is told"
        );
    }
}
