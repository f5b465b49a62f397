//! Commands: always implicit VR, little endian (PS3.7 §6.3.1).

use crate::data::set::{DataSet, Encoding};
use dicom_core::Tag;
use dicom_dictionary_std::tags;

const STORE: u16 = 0x0001;
const ECHO: u16 = 0x0030;
const EVENT: u16 = 0x0100;
const CANCEL: u16 = 0x0FFF;
/// Bit that makes a request's field the response's.
const RESPONSE: u16 = 0x8000;
/// Command Data Set Type that says there is no data set.
const NO_DATA: u16 = 0x0101;

/// Status codes (PS3.7 annex C, PS3.4 annex B.2.3).
pub(super) mod status {
    pub(crate) const SUCCESS: u16 = 0x0000;
    pub(crate) const CLASS_NOT_SUPPORTED: u16 = 0x0122;
    pub(crate) const UNRECOGNIZED_OPERATION: u16 = 0x0211;
    pub(crate) const OUT_OF_RESOURCES: u16 = 0xA700;
    pub(crate) const DOES_NOT_MATCH_CLASS: u16 = 0xA900;
    pub(crate) const CANNOT_UNDERSTAND: u16 = 0xC000;
}

/// A request from a peer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Request {
    pub kind: Kind,
    pub message: u16,
    pub class_uid: String,
    pub instance_uid: String,
    /// Whether a data set follows.
    pub has_data: bool,
}

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Echo,
    Store,
    /// Reports something that we had asked for.
    Event,
    /// Cancels something; needs no answer.
    Cancel,
    /// Anything else, by its command field.
    Other(u16),
}

impl Request {
    /// Reads a command set; none where it is damaged or a response.
    pub(super) fn parse(command: &[u8]) -> Option<Self> {
        let set = DataSet::parse(command, Encoding::IMPLICIT, Tag(0x0000, 0xFFFF)).ok()?;
        let field = set.u16(tags::COMMAND_FIELD)?;
        if field & RESPONSE != 0 {
            return None;
        }
        let kind = match field {
            STORE => Kind::Store,
            ECHO => Kind::Echo,
            EVENT => Kind::Event,
            CANCEL => Kind::Cancel,
            other => Kind::Other(other),
        };
        Some(Self {
            kind,
            message: set.u16(tags::MESSAGE_ID).unwrap_or(0),
            class_uid: set.text(tags::AFFECTED_SOP_CLASS_UID).unwrap_or_default(),
            instance_uid: set.text(tags::AFFECTED_SOP_INSTANCE_UID).unwrap_or_default(),
            has_data: set.u16(tags::COMMAND_DATA_SET_TYPE)? != NO_DATA,
        })
    }

    /// The response with this status. The comment is cut to 64 characters of ASCII.
    pub(super) fn response(&self, status: u16, comment: &str) -> Vec<u8> {
        let field = match self.kind {
            Kind::Echo => ECHO,
            Kind::Store => STORE,
            Kind::Event => EVENT,
            Kind::Cancel => CANCEL,
            Kind::Other(field) => field,
        };
        let mut body = Vec::new();
        put_text(&mut body, 0x0002, &self.class_uid, 0);
        put_u16(&mut body, 0x0100, field | RESPONSE);
        put_u16(&mut body, 0x0120, self.message);
        put_u16(&mut body, 0x0800, NO_DATA);
        put_u16(&mut body, 0x0900, status);
        if !comment.is_empty() {
            let plain: String = comment
                .chars()
                .filter(|c| c.is_ascii() && !c.is_ascii_control() && *c != '\\')
                .take(64)
                .collect();
            put_text(&mut body, 0x0902, &plain, b' ');
        }
        if !self.instance_uid.is_empty() {
            put_text(&mut body, 0x1000, &self.instance_uid, 0);
        }
        let mut out = Vec::with_capacity(body.len() + 12);
        put_head(&mut out, 0x0000, 4);
        out.extend_from_slice(&u32::try_from(body.len()).unwrap_or(u32::MAX).to_le_bytes());
        out.extend_from_slice(&body);
        out
    }
}

fn put_head(out: &mut Vec<u8>, element: u16, length: usize) {
    out.extend_from_slice(&[0, 0]);
    out.extend_from_slice(&element.to_le_bytes());
    out.extend_from_slice(&u32::try_from(length).unwrap_or(u32::MAX).to_le_bytes());
}

fn put_u16(out: &mut Vec<u8>, element: u16, value: u16) {
    put_head(out, element, 2);
    out.extend_from_slice(&value.to_le_bytes());
}

fn put_text(out: &mut Vec<u8>, element: u16, text: &str, pad: u8) {
    put_head(out, element, text.len().next_multiple_of(2));
    out.extend_from_slice(text.as_bytes());
    if text.len() % 2 == 1 {
        out.push(pad);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A C-STORE-RQ with these UIDs.
    fn store_rq(class: &str, instance: &str, message: u16) -> Vec<u8> {
        let mut out = Vec::new();
        put_text(&mut out, 0x0002, class, 0);
        put_u16(&mut out, 0x0100, STORE);
        put_u16(&mut out, 0x0110, message);
        put_u16(&mut out, 0x0700, 0);
        put_u16(&mut out, 0x0800, 1);
        put_text(&mut out, 0x1000, instance, 0);
        out
    }

    proptest! {
        #[test]
        fn a_request_is_read_and_answered(class in "[0-9.]{1,64}", instance in "[0-9.]{1,64}", message: u16, status: u16, comment in "\\PC{0,100}") {
            let request = Request::parse(&store_rq(&class, &instance, message)).unwrap();
            prop_assert_eq!(&request, &Request { kind: Kind::Store, message, class_uid: class, instance_uid: instance, has_data: true });
            let answer = request.response(status, &comment);
            prop_assert!(Request::parse(&answer).is_none(), "a response is no request");
            let set = DataSet::parse(&answer, Encoding::IMPLICIT, Tag(0, 0xFFFF)).unwrap();
            prop_assert_eq!(set.whole(tags::COMMAND_GROUP_LENGTH), Some(answer.len() as i64 - 12));
            prop_assert_eq!(set.u16(tags::STATUS), Some(status));
            prop_assert_eq!(set.u16(tags::MESSAGE_ID_BEING_RESPONDED_TO), Some(message));
            prop_assert_eq!(set.text(tags::AFFECTED_SOP_INSTANCE_UID), Some(request.instance_uid));
        }

        #[test]
        fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = Request::parse(&bytes);
        }
    }
}
