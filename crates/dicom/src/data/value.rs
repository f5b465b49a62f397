//! Values of elements as numbers, words and codes.

use super::set::{DataSet, Value};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;

/// A code with the scheme that it belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Code {
    pub value: String,
    pub scheme: String,
}

impl DataSet<'_> {
    /// The plain bytes of an element.
    pub(crate) fn bytes(&self, tag: Tag) -> Option<&[u8]> {
        match self.get(tag).map(|e| &e.value) {
            Some(Value::Bytes(b)) => Some(b),
            _ => None,
        }
    }

    /// Text without its padding, in the object's character set; none where it is empty.
    pub(crate) fn text(&self, tag: Tag) -> Option<String> {
        let text = self.charset.decode(self.bytes(tag)?);
        let text = text.trim_matches([' ', '\0']);
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// Several values of text; empty ones stay.
    pub(crate) fn texts(&self, tag: Tag) -> Vec<String> {
        self.text(tag)
            .map(|t| t.split('\\').map(|v| v.trim_matches([' ', '\0']).to_owned()).collect())
            .unwrap_or_default()
    }

    /// A whole number, written in binary or as text.
    pub(crate) fn whole(&self, tag: Tag) -> Option<i64> {
        let e = self.get(tag)?;
        let Value::Bytes(b) = &e.value else { return None };
        match e.vr {
            VR::IS | VR::DS => self.texts(tag).first()?.parse().ok(),
            _ => match b {
                [a, b] | [a, b, _, _] if e.vr != VR::UL && e.vr != VR::SL => {
                    Some(i64::from(self.encoding.u16([*a, *b])))
                }
                [a, b, c, d] => Some(i64::from(self.encoding.u32([*a, *b, *c, *d]))),
                _ => None,
            },
        }
    }

    /// An unsigned 16-bit number.
    pub(crate) fn u16(&self, tag: Tag) -> Option<u16> {
        u16::try_from(self.whole(tag)?).ok()
    }

    /// The first decimal number, written as FL, FD or text; only finite ones.
    pub(crate) fn decimal(&self, tag: Tag) -> Option<f64> {
        let e = self.get(tag)?;
        let Value::Bytes(b) = &e.value else { return None };
        let v = match (e.vr, *b) {
            (VR::FL, b) => f64::from(f32::from_bits(self.encoding.u32(*b.first_chunk()?))),
            (VR::FD, b) => {
                let b = *b.first_chunk()?;
                f64::from_bits(if self.encoding.big { u64::from_be_bytes(b) } else { u64::from_le_bytes(b) })
            }
            _ => self.texts(tag).first()?.parse().ok()?,
        };
        v.is_finite().then_some(v)
    }

    /// The code of the first item of a code sequence.
    pub(crate) fn code(&self, sequence: Tag) -> Option<Code> {
        let item = self.item(sequence)?;
        Some(Code {
            value: item.text(tags::CODE_VALUE).or_else(|| item.text(tags::LONG_CODE_VALUE))?,
            scheme: item.text(tags::CODING_SCHEME_DESIGNATOR).unwrap_or_default(),
        })
    }
}
