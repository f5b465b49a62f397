//! A data set under construction.

use crate::WriteError;
use crate::codes::Term;
use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, PrimitiveValue, Tag, VR};
use dicom_dictionary_std::tags;
use dicom_encoding::TransferSyntax;
use dicom_object::InMemDicomObject;
use dicom_transfer_syntax_registry::entries::{EXPLICIT_VR_LITTLE_ENDIAN, IMPLICIT_VR_LITTLE_ENDIAN};

/// Collects elements in any order; they are written sorted.
#[derive(Debug)]
pub(crate) struct Build(InMemDicomObject);

impl Default for Build {
    fn default() -> Self {
        Self(InMemDicomObject::new_empty())
    }
}

impl Build {
    /// One value of text; empty text makes an empty element.
    pub(crate) fn text(&mut self, tag: Tag, vr: VR, text: &str) -> &mut Self {
        let value = if text.is_empty() { PrimitiveValue::Empty } else { PrimitiveValue::from(text) };
        self.0.put(DataElement::new(tag, vr, value));
        self
    }

    /// Elements without a value.
    pub(crate) fn empty(&mut self, elements: &[(Tag, VR)]) -> &mut Self {
        for (tag, vr) in elements {
            if *vr == VR::SQ {
                self.items(*tag, Vec::new());
            } else {
                self.text(*tag, *vr, "");
            }
        }
        self
    }

    /// A value of any other kind.
    pub(crate) fn value(&mut self, tag: Tag, vr: VR, value: impl Into<PrimitiveValue>) -> &mut Self {
        self.0.put(DataElement::new(tag, vr, value.into()));
        self
    }

    /// Takes an element out again.
    pub(crate) fn without(&mut self, tag: Tag) -> &mut Self {
        let _ = self.0.remove_element(tag); // not there is as good
        self
    }

    /// A sequence.
    pub(crate) fn items(&mut self, tag: Tag, items: Vec<Self>) -> &mut Self {
        let items: Vec<InMemDicomObject> = items.into_iter().map(|item| item.0).collect();
        self.0.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(items)));
        self
    }

    /// A sequence of codes.
    pub(crate) fn codes(&mut self, tag: Tag, terms: &[Term]) -> &mut Self {
        self.items(tag, terms.iter().map(Self::code).collect())
    }

    /// An item that is a code.
    pub(crate) fn code(term: &Term) -> Self {
        let mut item = Self::default();
        item.text(tags::CODE_VALUE, VR::SH, term.0)
            .text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, term.1)
            .text(tags::CODE_MEANING, VR::LO, term.2);
        item
    }

    /// Appends the data set in explicit VR, little endian.
    pub(crate) fn write(self, out: &mut Vec<u8>) -> Result<(), WriteError> {
        self.write_as(&EXPLICIT_VR_LITTLE_ENDIAN.erased(), out)
    }

    /// Appends the data set in implicit VR, little endian, as commands are written.
    pub(crate) fn write_implicit(self, out: &mut Vec<u8>) -> Result<(), WriteError> {
        self.write_as(&IMPLICIT_VR_LITTLE_ENDIAN.erased(), out)
    }

    fn write_as(self, syntax: &TransferSyntax, out: &mut Vec<u8>) -> Result<(), WriteError> {
        self.0.write_dataset_with_ts(out, syntax).map_err(|e| WriteError::Encoding(e.to_string()))
    }
}
