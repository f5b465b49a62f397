//! A header without its pixels.

use crate::data::part10;
use crate::data::set::DataSet;
use crate::facts::facts;
use crate::when;
use dicom_dictionary_std::tags;
use serrata_frame::{DecodeError, Limits};
use serrata_words::{AcquisitionFacts, Personal};

/// The person an object is about. Every value is wrapped so that it cannot get into a log by accident.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Person {
    /// Patient ID (0010,0020).
    pub id: Personal<String>,
    /// Patient's Name (0010,0010) as DICOM writes it: components divided by `^`, writing systems by `=`.
    pub name: Personal<String>,
    /// Patient's Birth Date (0010,0030) as `YYYY-MM-DD`, or empty.
    pub birth_date: Personal<String>,
    /// Patient's Sex (0010,0040): `M`, `F`, `O`, or empty.
    pub sex: Personal<String>,
}

/// What an object's header says.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// The person.
    pub patient: Person,
    /// Study Instance UID (0020,000D), or empty.
    pub study_uid: String,
    /// Series Instance UID (0020,000E), or empty.
    pub series_uid: String,
    /// SOP Instance UID (0008,0018), or empty.
    pub instance_uid: String,
    /// SOP Class UID (0008,0016), or empty.
    pub class_uid: String,
    /// Accession Number (0008,0050), or empty.
    pub accession: String,
    /// Facts of acquisition.
    pub facts: AcquisitionFacts,
    /// Number of frames; 1 where the header does not say, 0 where there are no rows or columns.
    pub frames: u32,
    /// Columns (0028,0011): width in pixels; 0 where the header does not say.
    pub columns: u32,
    /// Rows (0028,0010): height in pixels; 0 where the header does not say.
    pub rows: u32,
    /// Wavelength of the light in nm (0022,0001).
    pub excitation_nm: Option<u16>,
    /// Pass band of the barrier filter in nm (0022,0004), where both ends are said.
    pub barrier_nm: Option<[u16; 2]>,
    /// The largest ratio of lossy compression (0028,2112) that the pixels went through; 1 where it was lossy and no ratio is said.
    pub lossy_ratio: Option<f64>,
}

/// Reads a file's header. Pixels are not touched.
///
/// # Errors
/// Where the bytes are no DICOM, are in a transfer syntax that is not read, or are damaged before the pixel data.
pub fn read_header(bytes: &[u8]) -> Result<Header, DecodeError> {
    if bytes.is_empty() {
        return Err(DecodeError::Empty);
    }
    let file = part10::split(bytes, Limits::default().bytes)?;
    let set = DataSet::parse(&file.data, file.syntax.encoding, tags::PIXEL_DATA)?;
    let text = |tag| set.text(tag).unwrap_or_default();
    let has_picture = set.u16(tags::ROWS).is_some() && set.u16(tags::COLUMNS).is_some();
    let frames = set.whole(tags::NUMBER_OF_FRAMES).map_or(1, |n| u32::try_from(n).unwrap_or(0));
    Ok(Header {
        columns: set.u16(tags::COLUMNS).map_or(0, u32::from),
        rows: set.u16(tags::ROWS).map_or(0, u32::from),
        patient: Person {
            id: Personal::new(text(tags::PATIENT_ID)),
            name: Personal::new(text(tags::PATIENT_NAME)),
            birth_date: Personal::new(
                when::date(&text(tags::PATIENT_BIRTH_DATE)).map(|d| d.to_string()).unwrap_or_default(),
            ),
            sex: Personal::new(text(tags::PATIENT_SEX)),
        },
        study_uid: text(tags::STUDY_INSTANCE_UID),
        series_uid: text(tags::SERIES_INSTANCE_UID),
        instance_uid: text(tags::SOP_INSTANCE_UID),
        class_uid: text(tags::SOP_CLASS_UID),
        accession: text(tags::ACCESSION_NUMBER),
        excitation_nm: set.u16(tags::LIGHT_PATH_FILTER_PASS_THROUGH_WAVELENGTH).filter(|nm| *nm > 0),
        barrier_nm: barrier(&set),
        lossy_ratio: (text(tags::LOSSY_IMAGE_COMPRESSION) == "01").then(|| {
            let ratios = set.texts(tags::LOSSY_IMAGE_COMPRESSION_RATIO);
            ratios
                .iter()
                .filter_map(|r| r.trim().parse::<f64>().ok())
                .filter(|r| r.is_finite())
                .fold(1.0, f64::max)
        }),
        facts: facts(&set),
        frames: if has_picture { frames } else { 0 },
    })
}

fn barrier(set: &DataSet<'_>) -> Option<[u16; 2]> {
    match set.bytes(tags::IMAGE_PATH_FILTER_PASS_BAND)? {
        [a, b, c, d] => Some([set.encoding.u16([*a, *b]), set.encoding.u16([*c, *d])]),
        _ => None,
    }
}
