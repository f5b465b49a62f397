//! The frame of a file: preamble, meta group, transfer syntax; then the data set.

use super::set::{DataSet, Encoding};
use crate::syntax::{Coding, Syntax};
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use serrata_frame::DecodeError;
use std::borrow::Cow;
use std::io::Read;

/// A file taken apart. The data set is inflated where it was deflated.
#[derive(Debug)]
pub(crate) struct Part10<'a> {
    pub syntax: Syntax,
    pub data: Cow<'a, [u8]>,
}

impl Part10<'_> {
    /// The transfer syntax that a file with these values, written anew in their own encoding, names. `said` is what the original
    /// named: it stays, unless the original was deflated (the copy is plain) or was written otherwise than it said.
    pub(crate) fn written_as(&self, said: Option<String>) -> String {
        let Syntax { encoding, deflated, coding } = self.syntax;
        let true_to_it = |s: &String| Syntax::by_uid(s).is_ok_and(|s| s.encoding == encoding);
        match said {
            Some(s) if !deflated && (true_to_it(&s) || coding != Coding::Native) => s,
            _ if encoding == Encoding::BIG => "1.2.840.10008.1.2.2".to_owned(),
            _ if encoding.explicit => "1.2.840.10008.1.2.1".to_owned(),
            _ => "1.2.840.10008.1.2".to_owned(),
        }
    }
}

/// Where the data set starts, and the transfer syntax where the file says one.
struct Start {
    at: usize,
    syntax: Option<String>,
}

/// Whether the first bytes look like DICOM: with preamble, with a bare meta group, or a bare data set.
pub(crate) fn looks_like(head: &[u8]) -> bool {
    head.get(128..132) == Some(b"DICM") || head.starts_with(b"DICM") || bare(head).is_some()
}

/// How a bare data set (or meta group) is written, by its first element: group 2 or 8, a low element number, and a
/// VR or a length that fits.
fn bare(head: &[u8]) -> Option<Encoding> {
    let h: &[u8; 8] = head.get(..8)?.try_into().ok()?;
    let letters = h[4].is_ascii_uppercase() && h[5].is_ascii_uppercase();
    match *h {
        [2 | 8, 0, _, 0, ..] if letters => Some(Encoding::EXPLICIT),
        [0, 8, 0, _, ..] if letters => Some(Encoding::BIG),
        [8, 0, _, 0, _, b, 0, 0] if b < 8 => Some(Encoding::IMPLICIT),
        _ => None,
    }
}

/// Takes a file apart; at most `most` bytes are inflated.
///
/// # Errors
/// Where it is no DICOM, names a transfer syntax that is not known, or ends in the meta group.
pub(crate) fn split(bytes: &[u8], most: u64) -> Result<Part10<'_>, DecodeError> {
    let start = start(bytes)?;
    let data = bytes.get(start.at..).unwrap_or_default();
    let syntax = match start.syntax {
        Some(uid) => Syntax::by_uid(&uid)?,
        None => Syntax::plain(bare(data).ok_or_else(|| DecodeError::Broken {
            detail: "its DICOM header names no transfer syntax".to_owned(),
        })?),
    };
    let data = if syntax.deflated { Cow::Owned(inflate(data, most)?) } else { Cow::Borrowed(data) };
    // Some writers say an explicit syntax and write an implicit one: believe the first element.
    let encoding = if bare(&data) == Some(Encoding::IMPLICIT) { Encoding::IMPLICIT } else { syntax.encoding };
    Ok(Part10 { syntax: Syntax { encoding, ..syntax }, data })
}

/// Where the data set of a file starts, and the transfer syntax that its header names.
pub(crate) fn start_of(bytes: &[u8]) -> Result<(usize, Option<String>), DecodeError> {
    start(bytes).map(|s| (s.at, s.syntax))
}

fn start(bytes: &[u8]) -> Result<Start, DecodeError> {
    let meta = if bytes.get(128..132) == Some(b"DICM") {
        132
    } else if bytes.starts_with(b"DICM") {
        4
    } else if bare(bytes).is_some() {
        0
    } else {
        return Err(DecodeError::Unsupported { what: "of an unknown kind".to_owned() });
    };
    let rest = bytes.get(meta..).unwrap_or_default();
    let length = meta_length(rest)?;
    let group = DataSet::parse(&rest[..length], Encoding::EXPLICIT, Tag(0x0002, 0xFFFF))?;
    Ok(Start { at: meta + length, syntax: group.text(tags::TRANSFER_SYNTAX_UID) })
}

/// Bytes of the meta group, counted element by element: its own length element is often wrong.
fn meta_length(bytes: &[u8]) -> Result<usize, DecodeError> {
    let mut at = 0;
    while let Some(head) = bytes.get(at..at + 8) {
        if head[..2] != [2, 0] {
            break;
        }
        let long = matches!(&head[4..6], b"OB" | b"OW" | b"UN" | b"UT" | b"SQ");
        let value = if long {
            let l = bytes.get(at + 8..at + 12).ok_or(DecodeError::Truncated)?;
            12 + u32::from_le_bytes([l[0], l[1], l[2], l[3]]) as usize
        } else {
            8 + usize::from(u16::from_le_bytes([head[6], head[7]]))
        };
        at += value;
        if at > bytes.len() {
            return Err(DecodeError::Truncated);
        }
    }
    Ok(at)
}

/// Inflates at most `most` bytes.
pub(crate) fn inflate(data: &[u8], most: u64) -> Result<Vec<u8>, DecodeError> {
    let mut out = Vec::new();
    let mut reader = flate2::read::DeflateDecoder::new(data).take(most.saturating_add(1));
    match reader.read_to_end(&mut out) {
        Ok(n) if n as u64 > most => {
            Err(DecodeError::TooMuch { what: format!("more than {} MB when unpacked", most / 1_000_000) })
        }
        Ok(_) => Ok(out),
        Err(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => Err(DecodeError::Truncated),
        Err(e) => {
            Err(DecodeError::Broken { detail: format!("its deflated data set cannot be unpacked ({e})") })
        }
    }
}

/// Our implementation class (0002,0012) and version name (0002,0013).
const IMPLEMENTATION: &str = "2.25.242785313216943857610918470186093527841";
const VERSION_NAME: &str =
    concat!("SERRATA_", env!("CARGO_PKG_VERSION_MAJOR"), env!("CARGO_PKG_VERSION_MINOR"));

/// Preamble and meta group of a file whose data set follows; `source` is the sender's AE title, or empty.
pub(crate) fn opening(class: &str, instance: &str, syntax: &str, source: &str) -> Vec<u8> {
    let mut group = Vec::with_capacity(256);
    group.extend_from_slice(&[2, 0, 1, 0, b'O', b'B', 0, 0, 2, 0, 0, 0, 0, 1]);
    let mut text = |element: u8, vr: [u8; 2], value: &str, pad: u8| {
        let value = &value.as_bytes()[..value.len().min(64)];
        let length = u8::try_from(value.len().next_multiple_of(2)).unwrap_or(64);
        group.extend_from_slice(&[2, 0, element, 0, vr[0], vr[1], length, 0]);
        group.extend_from_slice(value);
        group.extend_from_slice(&[pad][..value.len() % 2]);
    };
    text(0x02, *b"UI", class, 0);
    text(0x03, *b"UI", instance, 0);
    text(0x10, *b"UI", syntax, 0);
    text(0x12, *b"UI", IMPLEMENTATION, 0);
    text(0x13, *b"SH", VERSION_NAME, b' ');
    if !source.trim().is_empty() {
        text(0x16, *b"AE", source.trim(), b' ');
    }
    let mut out = vec![0; 128];
    out.extend_from_slice(b"DICM");
    out.extend_from_slice(&[2, 0, 0, 0, b'U', b'L', 4, 0]);
    out.extend_from_slice(&u32::try_from(group.len()).unwrap_or(u32::MAX).to_le_bytes());
    out.extend_from_slice(&group);
    out
}

/// SOP class and instance that a data set in this transfer syntax names. Of a deflated one only the beginning is
/// unpacked.
pub(crate) fn identity(syntax: &str, data: &[u8]) -> Result<(String, String), DecodeError> {
    let syntax = Syntax::by_uid(syntax)?;
    let data = if syntax.deflated {
        let mut head = Vec::new();
        // What follows the beginning may be damaged: it is not looked at here.
        let _ = flate2::read::DeflateDecoder::new(data).take(1 << 16).read_to_end(&mut head);
        Cow::Owned(head)
    } else {
        Cow::Borrowed(data)
    };
    let set = DataSet::parse(&data, syntax.encoding, tags::SOP_INSTANCE_UID)?;
    match (set.text(tags::SOP_CLASS_UID), set.text(tags::SOP_INSTANCE_UID)) {
        (None, None) => {
            Err(DecodeError::Broken { detail: "it names no SOP class and no instance".to_owned() })
        }
        (class, instance) => Ok((class.unwrap_or_default(), instance.unwrap_or_default())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(syntax: Syntax, said: Option<&str>) -> String {
        Part10 { syntax, data: Cow::Borrowed(&[]) }.written_as(said.map(str::to_owned))
    }

    #[test]
    fn a_copy_names_what_it_is_written_in() {
        let (explicit, implicit, deflated) =
            ("1.2.840.10008.1.2.1", "1.2.840.10008.1.2", "1.2.840.10008.1.2.1.99");
        let of = |uid| Syntax::by_uid(uid).unwrap();
        let jpeg = "1.2.840.10008.1.2.4.50";
        assert_eq!(written(of(explicit), Some(explicit)), explicit);
        assert_eq!(written(of(jpeg), Some(jpeg)), jpeg);
        assert_eq!(written(of(deflated), Some(deflated)), explicit);
        assert_eq!(written(Syntax::plain(Encoding::BIG), None), "1.2.840.10008.1.2.2");
        // Said to be explicit, and written implicit: the copy says what it is.
        assert_eq!(written(of(implicit), Some(explicit)), implicit);
        assert_eq!(written(Syntax { encoding: Encoding::IMPLICIT, ..of(jpeg) }, Some(jpeg)), jpeg);
    }
}
