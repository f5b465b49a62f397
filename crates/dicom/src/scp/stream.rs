//! The data set's bytes, straight from the connection's buffer into the file: one copy, no allocation per PDU.
//!
//! The upper layer's own reader hands out every PDU in fresh memory; of a picture of 36 MB that is most of the work.

use super::association::Ended;
use bytes::{Buf, BytesMut};
use dicom_ul::association::AsyncAssociation;
use dicom_ul::association::server::AsyncServerAssociation;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::net::TcpStream;

/// PDU type of data (PS3.8 §9.3.5).
const DATA: u8 = 0x04;

/// How reading went on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// The last fragment is in.
    Whole,
    /// Another PDU than data is next in the buffer.
    Other,
}

/// The agreed terms of one data set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Terms {
    pub context: u8,
    pub max_pdu: u32,
    pub idle: Duration,
    /// Most bytes that are kept.
    pub most: u64,
}

/// Reads data PDUs until the data set is whole. What goes beyond `terms.most` is read and dropped, and the file is
/// emptied: the caller sees that in `beyond`.
pub(super) async fn data_set(
    peer: &mut AsyncServerAssociation<TcpStream>,
    terms: Terms,
    file: &mut Vec<u8>,
    beyond: &mut bool,
) -> Result<Step, Ended> {
    let (socket, buffer) = peer.get_mut();
    loop {
        fill(socket, buffer, 6, terms.idle).await?;
        if buffer[0] != DATA {
            return Ok(Step::Other);
        }
        let length = u32::from_be_bytes([buffer[2], buffer[3], buffer[4], buffer[5]]);
        if length > terms.max_pdu {
            return Err(Ended::Protocol("its PDU is longer than agreed"));
        }
        buffer.advance(6);
        let mut left = length as usize;
        let mut last = false;
        while left > 0 {
            if left < 6 {
                return Err(Ended::Protocol("a piece of data is shorter than its head"));
            }
            fill(socket, buffer, 6, terms.idle).await?;
            let item = u32::from_be_bytes([buffer[0], buffer[1], buffer[2], buffer[3]]) as usize;
            let (context, flags) = (buffer[4], buffer[5]);
            if item < 2 || item > left - 4 {
                return Err(Ended::Protocol("a piece of data does not fit into its PDU"));
            }
            if last || context != terms.context || flags & 1 == 1 {
                return Err(Ended::Protocol("a piece of data belongs to no data set"));
            }
            buffer.advance(6);
            left -= item + 4;
            last = flags & 2 == 2;
            let mut rest = item - 2;
            if (file.len() + rest) as u64 > terms.most {
                *beyond = true;
                *file = Vec::new();
            }
            while rest > 0 {
                fill(socket, buffer, 1, terms.idle).await?;
                let n = rest.min(buffer.len());
                if !*beyond {
                    file.extend_from_slice(&buffer[..n]);
                }
                buffer.advance(n);
                rest -= n;
            }
        }
        if last {
            return Ok(Step::Whole);
        }
    }
}

/// Reads until the buffer holds `n` bytes.
async fn fill(socket: &mut TcpStream, buffer: &mut BytesMut, n: usize, idle: Duration) -> Result<(), Ended> {
    while buffer.len() < n {
        if buffer.is_empty() {
            // All that was read is used up: start anew at the front instead of growing.
            buffer.clear();
            buffer.reserve(1 << 17);
        }
        let read = tokio::time::timeout(idle, socket.read_buf(buffer))
            .await
            .map_err(|_| Ended::Network("the peer was silent for too long".to_owned()))?
            .map_err(|e| Ended::Network(e.to_string()))?;
        if read == 0 {
            return Err(Ended::Network("the peer hung up in the middle of an object".to_owned()));
        }
    }
    Ok(())
}
