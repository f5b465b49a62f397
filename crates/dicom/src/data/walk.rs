//! The walk over a data set's bytes.

use super::set::{DataSet, Element, Encoding, Value};
use super::text::Charset;
use dicom_core::dictionary::{DataDictionary, DataDictionaryEntry};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, tags};
use serrata_frame::DecodeError;

/// Deepest nesting of sequences that is followed (judgement: real objects stay below ten).
const DEEPEST: usize = 32;
/// Most elements of one object (judgement: real ones have hundreds, large functional groups some hundred thousand).
const MOST: usize = 1_000_000;
const UNDEFINED: u32 = u32::MAX;
const ITEM: Tag = Tag(0xFFFE, 0xE000);
const ITEM_END: Tag = Tag(0xFFFE, 0xE00D);
const SEQUENCE_END: Tag = Tag(0xFFFE, 0xE0DD);

struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
    left: usize,
    stop: Tag,
    cut: bool,
}

impl<'a> DataSet<'a> {
    /// Reads up to and including the element `stop` (or the first after it).
    ///
    /// # Errors
    /// [`DecodeError::Truncated`] where the bytes end early (inside the pixel data they may), else `Broken`.
    pub(crate) fn parse(bytes: &'a [u8], encoding: Encoding, stop: Tag) -> Result<Self, DecodeError> {
        let mut walk = Walk { bytes, at: 0, left: MOST, stop, cut: false };
        let mut set = walk.set(encoding, Some(bytes.len()), 0, &Charset::default())?;
        set.cut = walk.cut;
        Ok(set)
    }
}

fn broken(detail: String) -> DecodeError {
    DecodeError::Broken { detail }
}

impl<'a> Walk<'a> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], DecodeError> {
        let b = self.bytes.get(self.at..self.at + N).ok_or(DecodeError::Truncated)?;
        self.at += N;
        <[u8; N]>::try_from(b).map_err(|_| DecodeError::Truncated)
    }

    fn tag(&mut self, e: Encoding) -> Result<Tag, DecodeError> {
        Ok(Tag(e.u16(self.take()?), e.u16(self.take()?)))
    }

    /// Elements up to `end`, or up to the item's delimiter where the end is not known.
    fn set(
        &mut self,
        e: Encoding,
        end: Option<usize>,
        depth: usize,
        outer: &Charset,
    ) -> Result<DataSet<'a>, DecodeError> {
        if depth > DEEPEST {
            return Err(broken(format!("its sequences are nested more than {DEEPEST} deep")));
        }
        let mut set = DataSet { elements: Vec::new(), encoding: e, charset: outer.clone(), cut: false };
        while end.is_none_or(|end| self.at < end) {
            if depth == 0 && self.bytes.len() - self.at < 8 {
                break; // padding after the last element
            }
            let tag = self.tag(e)?;
            if tag == ITEM_END || tag == SEQUENCE_END {
                let _length = e.u32(self.take()?);
                if tag == ITEM_END && end.is_none() {
                    break;
                }
                continue; // a stray delimiter after an item of known length is harmless
            }
            self.left = self
                .left
                .checked_sub(1)
                .ok_or_else(|| DecodeError::TooMuch { what: format!("more than {MOST} data elements") })?;
            if depth == 0 && tag > self.stop {
                break;
            }
            let element = self.element(tag, e, end.unwrap_or(self.bytes.len()), depth, &set.charset)?;
            if tag == tags::SPECIFIC_CHARACTER_SET
                && let Value::Bytes(codes) = &element.value
            {
                set.charset = Charset::from_codes(codes);
            }
            set.elements.push(element);
            if depth == 0 && tag == self.stop {
                break;
            }
        }
        Ok(set)
    }

    fn element(
        &mut self,
        tag: Tag,
        e: Encoding,
        end: usize,
        depth: usize,
        charset: &Charset,
    ) -> Result<Element<'a>, DecodeError> {
        let (vr, length) = self.head(tag, e)?;
        let value = if length == UNDEFINED {
            if tag == tags::PIXEL_DATA {
                Value::Fragments(self.fragments(e)?)
            } else {
                // A sequence of undefined length whose VR is unknown is written in implicit VR (PS3.5 §6.2.2).
                let inner = if vr == VR::UN { Encoding { explicit: false, ..e } } else { e };
                Value::Items(self.items(inner, None, depth, charset)?)
            }
        } else {
            let from = self.at;
            let to = from.checked_add(length as usize).ok_or(DecodeError::Truncated)?;
            if to > self.bytes.len() {
                if tag != tags::PIXEL_DATA || depth > 0 {
                    return Err(DecodeError::Truncated);
                }
                self.cut = true;
                self.at = self.bytes.len();
                Value::Bytes(&self.bytes[from..])
            } else if to > end {
                return Err(broken(format!("element {tag} is longer than the item that holds it")));
            } else if vr == VR::SQ {
                Value::Items(self.items(e, Some(to), depth, charset)?)
            } else {
                self.at = to;
                Value::Bytes(&self.bytes[from..to])
            }
        };
        Ok(Element { tag, vr, value })
    }

    /// VR and length of the element whose tag was just read.
    fn head(&mut self, tag: Tag, e: Encoding) -> Result<(VR, u32), DecodeError> {
        if !e.explicit {
            return Ok((dictionary_vr(tag), e.u32(self.take()?)));
        }
        let letters: [u8; 2] = self.take()?;
        if !letters.iter().all(u8::is_ascii_uppercase) {
            // Some writers leave the VR blank, others slip single elements in implicit VR into an explicit object.
            if letters == [0, 0] || letters == *b"  " || letters == *b"??" || letters == *b"--" {
                let short: [u8; 2] = self.take()?;
                return Ok((dictionary_vr(tag), u32::from(e.u16(short))));
            }
            return Err(broken(format!("element {tag} has no valid value representation")));
        }
        let vr = VR::from_binary(letters).unwrap_or(VR::UN);
        if has_long_length(vr) {
            let _reserved: [u8; 2] = self.take()?;
            Ok((vr, e.u32(self.take()?)))
        } else {
            Ok((vr, u32::from(e.u16(self.take()?))))
        }
    }

    fn items(
        &mut self,
        e: Encoding,
        end: Option<usize>,
        depth: usize,
        charset: &Charset,
    ) -> Result<Vec<DataSet<'a>>, DecodeError> {
        let mut items = Vec::new();
        while end.is_none_or(|end| self.at < end) {
            let tag = self.tag(e)?;
            let length = e.u32(self.take()?);
            match tag {
                ITEM => {
                    self.left = self.left.checked_sub(1).ok_or_else(|| DecodeError::TooMuch {
                        what: format!("more than {MOST} data elements"),
                    })?;
                    let to = if length == UNDEFINED { None } else { Some(self.inside(length, end)?) };
                    items.push(self.set(e, to, depth + 1, charset)?);
                }
                SEQUENCE_END => break,
                _ => return Err(broken(format!("{tag} stands where an item of a sequence should"))),
            }
        }
        Ok(items)
    }

    /// Where a part of this length ends; it must end inside what holds it.
    fn inside(&self, length: u32, end: Option<usize>) -> Result<usize, DecodeError> {
        let to = self.at.checked_add(length as usize).ok_or(DecodeError::Truncated)?;
        if to > self.bytes.len() {
            return Err(DecodeError::Truncated);
        }
        if end.is_some_and(|end| to > end) {
            return Err(broken("an item is longer than the sequence that holds it".to_owned()));
        }
        Ok(to)
    }

    /// Fragments of encapsulated pixel data. A file that ends in one of them gives what is there.
    fn fragments(&mut self, e: Encoding) -> Result<Vec<&'a [u8]>, DecodeError> {
        let mut fragments = Vec::new();
        loop {
            if self.bytes.len() - self.at < 8 {
                self.cut = true;
                return Ok(fragments);
            }
            let tag = self.tag(e)?;
            let length = e.u32(self.take()?);
            match tag {
                SEQUENCE_END => return Ok(fragments),
                ITEM if length != UNDEFINED => {
                    let to = self.at.saturating_add(length as usize).min(self.bytes.len());
                    self.cut |= to - self.at < length as usize;
                    fragments.push(&self.bytes[self.at..to]);
                    self.at = to;
                }
                _ => return Err(broken(format!("{tag} stands where a fragment of the pixel data should"))),
            }
            if fragments.len() > MOST {
                return Err(DecodeError::TooMuch { what: format!("more than {MOST} fragments") });
            }
        }
    }
}

/// The usual VR of a tag; unknown where the dictionary does not have it.
fn dictionary_vr(tag: Tag) -> VR {
    if tag.1 == 0 {
        return VR::UL;
    }
    StandardDataDictionary.by_tag(tag).map_or(VR::UN, |entry| entry.vr().relaxed())
}

/// VRs whose length takes four bytes after two reserved ones (PS3.5 §7.1.2); so do unknown ones.
pub(crate) const fn has_long_length(vr: VR) -> bool {
    matches!(
        vr,
        VR::OB
            | VR::OD
            | VR::OF
            | VR::OL
            | VR::OV
            | VR::OW
            | VR::SQ
            | VR::SV
            | VR::UC
            | VR::UN
            | VR::UR
            | VR::UT
            | VR::UV
    )
}
