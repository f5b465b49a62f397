//! Objects over the web: STOW-RS stores, QIDO-RS finds (PS3.18 §10.5, §10.6).
//!
//! Plain HTTP/1.1 by `hyper`'s own connection: one request a connection, so that a wire that was cut is noticed with the object that was
//! on it. There is no encryption here, as there is none on our associations: a proxy in the house gives it.

use super::peer::PeerError;
use super::store::{Instance, Stored};
use bytes::Bytes;
use http_body_util::{BodyExt, Full, Limited};
use hyper::header::{ACCEPT, CONTENT_TYPE, HOST};
use hyper::{Method, Request, StatusCode, Uri};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use std::time::Duration;
use tokio::net::TcpStream;

/// Longest answer that is read, bytes: a list of a few thousand references.
const LONGEST: usize = 8 << 20;

/// Divides the parts of a request; an object that holds this text is not there by chance.
const BOUNDARY: &str = "serrata-c2f1a67e0b8d4f5fa1de3b0c";

/// A place that takes objects over the web, and how patient we are with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebPeer {
    /// Where its services are: `http://HOST:PORT/PATH`, without a slash at the end.
    pub address: String,
    /// How long it may be silent.
    pub silence: Duration,
}

struct Answer {
    status: StatusCode,
    body: Bytes,
}

impl WebPeer {
    /// What is wrong with its address, one sentence; none where it can be used.
    #[must_use]
    pub fn fault(&self) -> Option<String> {
        let uri = self.address.parse::<Uri>().ok();
        match uri.as_ref().map(|u| (u.scheme_str(), u.host())) {
            Some((Some("http"), Some(host))) if !host.is_empty() => None,
            Some((Some("https"), _)) => Some(
                "its address is http://HOST:PORT/PATH; for https put a proxy of the house before it"
                    .to_owned(),
            ),
            _ => Some(format!("its address is http://HOST:PORT/PATH, not {:?}", self.address)),
        }
    }

    fn no_answer(&self, detail: impl ToString) -> PeerError {
        PeerError::NoAnswer { address: self.address.clone(), detail: detail.to_string() }
    }

    fn not_understood(&self, detail: impl ToString) -> PeerError {
        PeerError::Protocol { address: self.address.clone(), detail: detail.to_string() }
    }

    /// Stores one object, its file byte for byte.
    ///
    /// # Errors
    /// [`PeerError`] where nobody answers, it refuses us, or what it says is no answer: whether it has the object is not known then.
    pub async fn store(&self, object: &Instance, file: Bytes) -> Result<Stored, PeerError> {
        let mut body = Vec::with_capacity(file.len() + 256);
        body.extend_from_slice(format!("--{BOUNDARY}\r\nContent-Type: application/dicom\r\n\r\n").as_bytes());
        body.extend_from_slice(&file);
        body.extend_from_slice(format!("\r\n--{BOUNDARY}--\r\n").as_bytes());
        let kind = format!("multipart/related; type=\"application/dicom\"; boundary={BOUNDARY}");
        let answer = self.ask(Method::POST, "/studies", Some(kind), body.into()).await?;
        let code = answer.status.as_u16();
        let text = format!("HTTP status {code}");
        match code {
            // What it says of the object decides: 202 and 409 tell that some, or all, were not stored.
            200 | 202 | 409 => self.said(&answer, object, &text),
            401 | 403 => Err(PeerError::Refused { address: self.address.clone(), detail: text }),
            404 | 405 => Err(PeerError::Refused {
                address: self.address.clone(),
                detail: format!("there is no STOW-RS at this address: {text}"),
            }),
            408 | 429 | 500 | 502..=504 | 507 => Ok(Stored::Later(text)),
            _ => Ok(Stored::Never(text)),
        }
    }

    /// What the answer says of one object (PS3.18 §10.5.3).
    fn said(&self, answer: &Answer, object: &Instance, text: &str) -> Result<Stored, PeerError> {
        let body: Value = serde_json::from_slice(&answer.body)
            .map_err(|e| self.not_understood(format!("its answer is no DICOM JSON: {e}")))?;
        let named = |sequence: &str| {
            let items = body[sequence]["Value"].as_array()?;
            items.iter().find(|i| i["00081155"]["Value"][0] == object.instance_uid.as_str()).cloned()
        };
        let number = |item: &Value, tag: &str| item[tag]["Value"][0].as_u64();
        if let Some(item) = named("00081199") {
            return Ok(Stored::Kept(number(&item, "00081196").map(|n| format!("warning {n:04X}"))));
        }
        let Some(item) = named("00081198") else {
            return Err(self.not_understood(format!("its answer does not name the object: {text}")));
        };
        let reason = number(&item, "00081197").unwrap_or(0);
        let text = format!("{text}, reason {reason:04X}");
        Ok(match reason {
            // It had this instance before (PS3.4 B.2.3).
            0x0111 => Stored::Kept(Some(text)),
            0xA700..=0xA7FF | 0x0110 | 0x0213 => Stored::Later(text),
            _ => Stored::Never(text),
        })
    }

    /// Whether each of these objects is found.
    ///
    /// # Errors
    /// [`PeerError`] as [`WebPeer::store`].
    pub async fn find(&self, objects: &[Instance]) -> Result<Vec<bool>, PeerError> {
        let mut there = Vec::with_capacity(objects.len());
        for o in objects {
            let path = format!(
                "/studies/{}/series/{}/instances?SOPInstanceUID={}",
                o.study_uid, o.series_uid, o.instance_uid
            );
            let answer = self.ask(Method::GET, &path, None, Bytes::new()).await?;
            there.push(match answer.status.as_u16() {
                200 => {
                    let body: Value = serde_json::from_slice(&answer.body)
                        .map_err(|e| self.not_understood(format!("its answer is no DICOM JSON: {e}")))?;
                    let found = body.as_array().into_iter().flatten();
                    found.into_iter().any(|i| i["00080018"]["Value"][0] == o.instance_uid.as_str())
                }
                204 | 404 => false,
                code => {
                    let detail = format!("it could not search: HTTP status {code}");
                    return Err(PeerError::Refused { address: self.address.clone(), detail });
                }
            });
        }
        Ok(there)
    }

    /// One request over one connection.
    async fn ask(
        &self,
        method: Method,
        path: &str,
        kind: Option<String>,
        body: Bytes,
    ) -> Result<Answer, PeerError> {
        // Its silence, and a second for each megabyte that has to go over a slow wire.
        let patience = self.silence + Duration::from_secs(body.len() as u64 >> 20);
        let late = |_| PeerError::TooSlow { address: self.address.clone(), seconds: patience.as_secs() };
        let talk = async {
            let uri: Uri = self.address.parse().map_err(|_| self.no_answer("its address is none"))?;
            let authority = uri.authority().ok_or_else(|| self.no_answer("its address names no host"))?;
            let wire = TcpStream::connect((
                authority.host().trim_matches(['[', ']']),
                authority.port_u16().unwrap_or(80),
            ));
            let wire = wire.await.map_err(|e| self.no_answer(e))?;
            let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(wire))
                .await
                .map_err(|e| self.no_answer(e))?;
            // It ends with the answer, or with the wire: the request below tells which.
            let driver = tokio::spawn(connection);
            let mut request = Request::builder()
                .method(method)
                .uri(format!("{}{path}", uri.path().trim_end_matches('/')))
                .header(HOST, authority.as_str())
                .header(ACCEPT, "application/dicom+json");
            if let Some(kind) = kind {
                request = request.header(CONTENT_TYPE, kind);
            }
            let request = request.body(Full::new(body)).map_err(|e| self.not_understood(e))?;
            let answer = sender.send_request(request).await.map_err(|e| self.no_answer(e))?;
            let status = answer.status();
            let body = Limited::new(answer.into_body(), LONGEST).collect().await;
            driver.abort();
            let body =
                body.map_err(|e| self.not_understood(format!("its answer broke off: {e}")))?.to_bytes();
            Ok(Answer { status, body })
        };
        tokio::time::timeout(patience, talk).await.map_err(late)?
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(status: u16, body: &str) -> Result<Stored, PeerError> {
        let peer = WebPeer { address: "http://h:1/w".to_owned(), silence: Duration::from_secs(1) };
        let object = Instance { instance_uid: "2.25.5".to_owned(), ..Instance::default() };
        let answer =
            Answer { status: StatusCode::from_u16(status).unwrap(), body: Bytes::from(body.to_owned()) };
        peer.said(&answer, &object, "HTTP status 200")
    }

    #[test]
    fn only_what_names_the_object_counts() {
        let stored = r#"{"00081199":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.5"]}}]}}"#;
        assert_eq!(said(200, stored).unwrap(), Stored::Kept(None));
        assert!(said(200, &stored.replace("2.25.5", "2.25.6")).is_err());
        assert!(said(200, "{}").is_err());
        assert!(said(200, "<html>").is_err());
        let failed = |reason: u32| {
            format!(
                r#"{{"00081198":{{"Value":[{{"00081155":{{"Value":["2.25.5"]}},"00081197":{{"Value":[{reason}]}}}}]}}}}"#
            )
        };
        assert!(matches!(said(409, &failed(0xA700)).unwrap(), Stored::Later(_)));
        assert!(matches!(said(409, &failed(0x0122)).unwrap(), Stored::Never(_)));
        assert!(matches!(said(409, &failed(0x0111)).unwrap(), Stored::Kept(Some(_))));
    }
}
