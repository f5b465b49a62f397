//! The tree of a data set.

use super::text::Charset;
use dicom_core::{Tag, VR};

/// How elements are written: explicit or implicit VR, big or little endian.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Encoding {
    pub explicit: bool,
    pub big: bool,
}

impl Encoding {
    pub(crate) const IMPLICIT: Self = Self { explicit: false, big: false };
    pub(crate) const EXPLICIT: Self = Self { explicit: true, big: false };
    pub(crate) const BIG: Self = Self { explicit: true, big: true };

    pub(crate) fn u16(self, b: [u8; 2]) -> u16 {
        if self.big { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) }
    }

    pub(crate) fn of_u16(self, v: u16) -> [u8; 2] {
        if self.big { v.to_be_bytes() } else { v.to_le_bytes() }
    }

    pub(crate) fn u32(self, b: [u8; 4]) -> u32 {
        if self.big { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) }
    }
}

/// What an element holds.
#[derive(Debug, Clone)]
pub(crate) enum Value<'a> {
    /// A plain value.
    Bytes(&'a [u8]),
    /// Items of a sequence.
    Items(Vec<DataSet<'a>>),
    /// Fragments of encapsulated pixel data; the first is the offset table.
    Fragments(Vec<&'a [u8]>),
}

/// One element.
#[derive(Debug, Clone)]
pub(crate) struct Element<'a> {
    pub tag: Tag,
    pub vr: VR,
    pub value: Value<'a>,
}

/// A data set, or an item of a sequence.
#[derive(Debug, Clone)]
pub(crate) struct DataSet<'a> {
    pub elements: Vec<Element<'a>>,
    pub encoding: Encoding,
    pub charset: Charset,
    /// The file ends inside the pixel data.
    pub cut: bool,
}

impl<'a> DataSet<'a> {
    /// The first element with this tag.
    pub(crate) fn get(&self, tag: Tag) -> Option<&Element<'a>> {
        self.elements.iter().find(|e| e.tag == tag)
    }

    /// The first item of a sequence.
    pub(crate) fn item(&self, tag: Tag) -> Option<&DataSet<'a>> {
        self.items(tag).first()
    }

    /// The items of a sequence; empty where there is none.
    pub(crate) fn items(&self, tag: Tag) -> &[DataSet<'a>] {
        match self.get(tag).map(|e| &e.value) {
            Some(Value::Items(items)) => items,
            _ => &[],
        }
    }
}
