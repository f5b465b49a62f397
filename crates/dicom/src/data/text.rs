//! Text in the character sets of (0008,0005), with ISO 2022 switches.

use dicom_encoding::text::{SpecificCharacterSet, TextCodec};

/// The character sets of an object: the first for plain text, more where escapes switch.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Charset {
    first: String,
    switches: bool,
}

const ESC: u8 = 0x1B;

/// Escape sequences and the set that they switch to (PS3.3 table C.12-3 and C.12-4).
const SWITCHES: &[(&[u8], &str)] = &[
    (b"\x1B(B", "ISO_IR 6"),
    (b"\x1B(J", "ISO_IR 6"),
    (b"\x1B)I", "ISO_IR 13"),
    (b"\x1B$B", "ISO_IR 87"),
    (b"\x1B$(D", "ISO_IR 159"),
    (b"\x1B-A", "ISO_IR 100"),
    (b"\x1B-B", "ISO_IR 101"),
    (b"\x1B-C", "ISO_IR 109"),
    (b"\x1B-D", "ISO_IR 110"),
    (b"\x1B-F", "ISO_IR 126"),
    (b"\x1B-G", "ISO_IR 127"),
    (b"\x1B-H", "ISO_IR 138"),
    (b"\x1B-L", "ISO_IR 144"),
    (b"\x1B-M", "ISO_IR 148"),
    (b"\x1B-T", "ISO_IR 166"),
    (b"\x1B$)C", "ISO_IR 149"),
    (b"\x1B$)A", "GB2312"),
];

impl Charset {
    /// From the value of (0008,0005).
    pub(crate) fn from_codes(codes: &[u8]) -> Self {
        let text = String::from_utf8_lossy(codes);
        let mut codes = text.split('\\').map(|c| c.trim_matches([' ', '\0']));
        let first = codes.next().unwrap_or_default().to_owned();
        let switches = first.starts_with("ISO 2022") || codes.next().is_some();
        Self { first, switches }
    }

    /// Text as Unicode; what a set does not hold becomes the replacement character.
    pub(crate) fn decode(&self, bytes: &[u8]) -> String {
        if !self.switches || !bytes.contains(&ESC) {
            return plain(&self.first, bytes);
        }
        let mut out = String::new();
        let (mut set, mut from, mut at) = (self.first.as_str(), 0, 0);
        while at < bytes.len() {
            let switch = SWITCHES.iter().find(|(escape, _)| bytes[at..].starts_with(escape));
            if let Some((escape, to)) = switch {
                out.push_str(&plain(set, &bytes[from..at]));
                set = to;
                at += escape.len();
                from = at;
            } else if matches!(bytes[at], b'^' | b'=' | b'\\' | b'\r' | b'\n') && single_byte(set) {
                // Delimiters bring the first set back.
                out.push_str(&plain(set, &bytes[from..at]));
                set = &self.first;
                from = at;
                at += 1;
            } else {
                at += if single_byte(set) { 1 } else { 2 };
            }
        }
        out.push_str(&plain(set, bytes.get(from..).unwrap_or_default()));
        out
    }
}

/// Whether bytes of this set that look like delimiters are delimiters: sets of two 7-bit bytes use them in letters.
fn single_byte(set: &str) -> bool {
    !matches!(set, "ISO_IR 87" | "ISO_IR 159")
}

/// Text in one set.
fn plain(set: &str, bytes: &[u8]) -> String {
    if bytes.is_ascii() && single_byte(set) {
        return String::from_utf8_lossy(bytes).into_owned();
    }
    let framed: Vec<u8>;
    let bytes = match set {
        "ISO_IR 87" => {
            framed = [b"\x1B$B", bytes, b"\x1B(B"].concat();
            &framed
        }
        "ISO_IR 159" => return "\u{FFFD}".repeat(bytes.len() / 2),
        _ => bytes,
    };
    let set = if set.is_empty() { "ISO_IR 192" } else { set };
    SpecificCharacterSet::from_code(set)
        .and_then(|codec| codec.decode(bytes).ok())
        .unwrap_or_else(|| String::from_utf8_lossy(bytes).into_owned())
}
