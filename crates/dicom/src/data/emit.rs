//! A data set written anew in the encoding that it was read in.

use crate::data::has_long_length;
use crate::data::set::Encoding;
use dicom_core::{Tag, VR};

const ITEM: Tag = Tag(0xFFFE, 0xE000);
const ITEM_END: Tag = Tag(0xFFFE, 0xE00D);
const SEQUENCE_END: Tag = Tag(0xFFFE, 0xE0DD);
const UNDEFINED: u32 = u32::MAX;

/// A value to be written.
pub(crate) enum New<'a> {
    /// As it was.
    Same(&'a [u8]),
    /// Another one, not padded yet.
    Other(Vec<u8>),
    /// Items, each with its elements.
    Items(Vec<Vec<Piece<'a>>>),
    /// Fragments of pixel data, as they were.
    Fragments(&'a [&'a [u8]]),
}

/// An element to be written.
pub(crate) struct Piece<'a> {
    pub tag: Tag,
    pub vr: VR,
    pub value: New<'a>,
}

/// Writes elements in the order of their tags.
pub(crate) fn emit(pieces: &mut [Piece<'_>], e: Encoding, out: &mut Vec<u8>) {
    pieces.sort_by_key(|p| p.tag);
    for p in pieces {
        match &mut p.value {
            New::Same(bytes) => plain(out, e, p.tag, p.vr, bytes),
            New::Other(bytes) => {
                if bytes.len() % 2 == 1 {
                    bytes.push(if matches!(p.vr, VR::UI | VR::OB | VR::UN) { 0 } else { b' ' });
                }
                plain(out, e, p.tag, p.vr, bytes);
            }
            New::Items(items) => {
                head(out, e, p.tag, VR::SQ, UNDEFINED);
                for item in items {
                    mark(out, e, ITEM, UNDEFINED);
                    emit(item, e, out);
                    mark(out, e, ITEM_END, 0);
                }
                mark(out, e, SEQUENCE_END, 0);
            }
            New::Fragments(fragments) => {
                head(out, e, p.tag, p.vr, UNDEFINED);
                for f in *fragments {
                    mark(out, e, ITEM, length(f));
                    out.extend_from_slice(f);
                }
                mark(out, e, SEQUENCE_END, 0);
            }
        }
    }
}

fn length(bytes: &[u8]) -> u32 {
    u32::try_from(bytes.len()).unwrap_or(UNDEFINED) // what was read had a length of 32 bits
}

fn plain(out: &mut Vec<u8>, e: Encoding, tag: Tag, vr: VR, bytes: &[u8]) {
    head(out, e, tag, vr, length(bytes));
    out.extend_from_slice(bytes);
}

fn four(e: Encoding, v: u32) -> [u8; 4] {
    if e.big { v.to_be_bytes() } else { v.to_le_bytes() }
}

fn mark(out: &mut Vec<u8>, e: Encoding, tag: Tag, length: u32) {
    out.extend_from_slice(&e.of_u16(tag.0));
    out.extend_from_slice(&e.of_u16(tag.1));
    out.extend_from_slice(&four(e, length));
}

fn head(out: &mut Vec<u8>, e: Encoding, tag: Tag, vr: VR, length: u32) {
    if !e.explicit {
        mark(out, e, tag, length);
        return;
    }
    out.extend_from_slice(&e.of_u16(tag.0));
    out.extend_from_slice(&e.of_u16(tag.1));
    // A short value whose length does not fit its field is written as of unknown VR (PS3.5 §6.2.2).
    let vr = if !has_long_length(vr) && length > 0xFFFF { VR::UN } else { vr };
    out.extend_from_slice(vr.to_string().as_bytes());
    if has_long_length(vr) {
        out.extend_from_slice(&[0, 0]);
        out.extend_from_slice(&four(e, length));
    } else {
        #[allow(clippy::cast_possible_truncation)] // looked at above
        out.extend_from_slice(&e.of_u16(length as u16));
    }
}
