//! Palette colour.

use super::{Raw, Stored, broken};
use crate::data::set::DataSet;
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use serrata_frame::DecodeError;

/// Tables for red, green, blue.
pub(super) struct Palette {
    /// First stored value that is mapped.
    first: u32,
    /// Entries, full 16-bit range.
    tables: [Vec<u16>; 3],
    wide: bool,
}

const PARTS: [(Tag, Tag); 3] = [
    (tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA),
    (tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA),
    (tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA),
];

impl Palette {
    /// Reads the three tables (PS3.3 C.7.6.3.1.5). Segmented tables are not read.
    pub(super) fn of(set: &DataSet<'_>) -> Result<Self, DecodeError> {
        let mut first = 0;
        let mut wide = false;
        let mut tables = [const { Vec::new() }; 3];
        for (table, (descriptor, data)) in tables.iter_mut().zip(PARTS) {
            let d = set.bytes(descriptor).ok_or_else(|| broken("its palette is missing"))?;
            let [a, b, c, d, e, f] = *d else { return Err(broken("its palette's descriptor is damaged")) };
            let entries = match set.encoding.u16([a, b]) {
                0 => 65536,
                n => usize::from(n),
            };
            first = u32::from(set.encoding.u16([c, d]));
            let bits = set.encoding.u16([e, f]);
            let data = set.bytes(data).ok_or_else(|| DecodeError::Unsupported {
                what: "a DICOM picture with a segmented palette".to_owned(),
            })?;
            wide |= bits > 8;
            *table = if data.len() >= entries * 2 {
                data.chunks_exact(2).take(entries).map(|b| set.encoding.u16([b[0], b[1]])).collect()
            } else if data.len() >= entries {
                data.iter().take(entries).map(|b| u16::from(*b)).collect()
            } else {
                return Err(DecodeError::Truncated);
            };
            if bits <= 8 {
                table.iter_mut().for_each(|v| *v = (*v & 0xFF) * 257);
            }
        }
        Ok(Self { first, tables, wide })
    }

    /// Looks every pixel up; values outside take the nearest entry.
    pub(super) fn apply(&self, raw: &Raw) -> Stored {
        let rgb = |v: u32| {
            let i = v.saturating_sub(self.first) as usize;
            [0, 1, 2].map(|k| self.tables[k][i.min(self.tables[k].len() - 1)])
        };
        let values: Vec<u16> = match &raw.stored {
            Stored::U8(v) => v.iter().flat_map(|v| rgb((*v).into())).collect(),
            Stored::U16(v) => v.iter().flat_map(|v| rgb((*v).into())).collect(),
        };
        if self.wide {
            Stored::U16(values)
        } else {
            Stored::U8(values.into_iter().map(|v| v.to_be_bytes()[0]).collect())
        }
    }
}
