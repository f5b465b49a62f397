//! Transfer syntaxes that are read.

use crate::data::set::Encoding;
use serrata_frame::DecodeError;

/// How pixels are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Coding {
    /// Uncompressed.
    Native,
    /// JPEG baseline, extended (8 bit) and lossless.
    Jpeg,
    /// JPEG-LS.
    JpegLs,
    /// JPEG 2000.
    Jpeg2000,
    /// Run lengths.
    Rle,
}

/// A transfer syntax.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Syntax {
    pub encoding: Encoding,
    pub deflated: bool,
    pub coding: Coding,
}

/// UIDs of the transfer syntaxes that are read, in the order in which the storage service offers them.
pub(crate) const KNOWN: &[(&str, Syntax)] = &[
    ("1.2.840.10008.1.2.1", Syntax::plain(Encoding::EXPLICIT)),
    ("1.2.840.10008.1.2", Syntax::plain(Encoding::IMPLICIT)),
    ("1.2.840.10008.1.2.2", Syntax::plain(Encoding::BIG)),
    (
        "1.2.840.10008.1.2.1.99",
        Syntax { encoding: Encoding::EXPLICIT, deflated: true, coding: Coding::Native },
    ),
    ("1.2.840.10008.1.2.4.50", Syntax::packed(Coding::Jpeg)),
    ("1.2.840.10008.1.2.4.51", Syntax::packed(Coding::Jpeg)),
    ("1.2.840.10008.1.2.4.57", Syntax::packed(Coding::Jpeg)),
    ("1.2.840.10008.1.2.4.70", Syntax::packed(Coding::Jpeg)),
    ("1.2.840.10008.1.2.4.80", Syntax::packed(Coding::JpegLs)),
    ("1.2.840.10008.1.2.4.81", Syntax::packed(Coding::JpegLs)),
    ("1.2.840.10008.1.2.4.90", Syntax::packed(Coding::Jpeg2000)),
    ("1.2.840.10008.1.2.4.91", Syntax::packed(Coding::Jpeg2000)),
    ("1.2.840.10008.1.2.5", Syntax::packed(Coding::Rle)),
];

impl Syntax {
    pub(crate) const fn plain(encoding: Encoding) -> Self {
        Self { encoding, deflated: false, coding: Coding::Native }
    }

    const fn packed(coding: Coding) -> Self {
        Self { encoding: Encoding::EXPLICIT, deflated: false, coding }
    }

    /// The syntax of a UID.
    ///
    /// # Errors
    /// [`DecodeError::Unsupported`] with the syntax's name where the standard has one.
    pub(crate) fn by_uid(uid: &str) -> Result<Self, DecodeError> {
        KNOWN.iter().find(|(known, _)| *known == uid).map(|(_, s)| *s).ok_or_else(|| {
            use dicom_encoding::TransferSyntaxIndex;
            let name = dicom_transfer_syntax_registry::TransferSyntaxRegistry.get(uid).map(|t| t.name());
            DecodeError::Unsupported {
                what: match name {
                    Some(name) => format!("a DICOM object in transfer syntax {name}"),
                    None => format!("a DICOM object in the private or unknown transfer syntax {uid}"),
                },
            }
        })
    }
}
