//! What is accepted from a peer.

use super::ScpOptions;
use crate::scu::COMMITMENT;
use crate::syntax;
use dicom_ul::association::server::{AccessControl, Negotiation, ServerAssociationOptions};
use dicom_ul::pdu::{AssociationRJServiceUserReason, RequestorRoles, UserIdentity};

/// C-ECHO.
pub(super) const VERIFICATION: &str = "1.2.840.10008.1.1";

/// Classes whose objects are kept.
const CLASSES: &[&str] = &[
    "1.2.840.10008.5.1.4.1.1.77.1.5.1", // Ophthalmic Photography 8 Bit
    "1.2.840.10008.5.1.4.1.1.77.1.5.2", // Ophthalmic Photography 16 Bit
    "1.2.840.10008.5.1.4.1.1.77.1.5.5", // Wide Field, stereographic projection
    "1.2.840.10008.5.1.4.1.1.77.1.5.6", // Wide Field, 3D coordinates
    "1.2.840.10008.5.1.4.1.1.77.1.4",   // VL Photographic
    "1.2.840.10008.5.1.4.1.1.7",        // Secondary Capture
    "1.2.840.10008.5.1.4.1.1.7.2",      // Multi-frame Grayscale Byte Secondary Capture
    "1.2.840.10008.5.1.4.1.1.7.3",      // Multi-frame Grayscale Word Secondary Capture
    "1.2.840.10008.5.1.4.1.1.7.4",      // Multi-frame True Color Secondary Capture
];

/// Looks at the called AE title, where that was asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Door {
    check_called: bool,
}

impl AccessControl for Door {
    fn check_access(
        &self,
        ours: &str,
        _calling: &str,
        called: &str,
        _identity: Option<&UserIdentity>,
    ) -> Result<(), AssociationRJServiceUserReason> {
        if self.check_called && called.trim() != ours.trim() {
            return Err(AssociationRJServiceUserReason::CalledAETitleNotRecognized);
        }
        Ok(())
    }
}

/// Grants peers the role of a sender, never that of a receiver: instruments that propose both are answered, as the
/// standard asks (PS3.7 D.3.3.4). Who reports on a storage commitment is its provider, so there it is the other way round.
#[derive(Debug, Clone, Copy)]
pub(super) struct Roles;

impl Negotiation for Roles {
    fn negotiate_roles(&self, class: &str, scu: bool, scp: bool) -> Option<RequestorRoles> {
        if class == COMMITMENT {
            return Some(RequestorRoles { scu: false, scp });
        }
        let ours = class == VERIFICATION || CLASSES.contains(&class);
        ours.then_some(RequestorRoles { scu, scp: false })
    }
}

/// The acceptor's settings.
pub(super) fn acceptor(options: &ScpOptions) -> ServerAssociationOptions<'static, Door, Roles> {
    let mut acceptor = ServerAssociationOptions::new()
        .ae_access_control(Door { check_called: options.check_called })
        .with_negotiation(Roles)
        .ae_title(options.ae_title.clone())
        .max_pdu_length(options.max_pdu)
        .read_timeout(options.idle)
        .write_timeout(options.idle)
        .with_abstract_syntax(VERIFICATION)
        .with_abstract_syntax(COMMITMENT);
    for class in CLASSES {
        acceptor = acceptor.with_abstract_syntax(*class);
    }
    for (uid, _) in syntax::KNOWN {
        acceptor = acceptor.with_transfer_syntax(*uid);
    }
    acceptor
}
