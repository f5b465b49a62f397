//! A small client of the API on this machine, for commands that ask a running server, or a data folder that is not
//! served just now.

use anyhow::{Context, Result, bail};
use serde_json::Value;
use serrata_station::Station;
use serrata_station::serve::{Plan, bind};
use serrata_store::Store;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::time::Duration;

/// Longest wait for an answer: a slow worklist included.
const PATIENCE: Duration = Duration::from_secs(120);

/// Where the data is.
#[derive(Debug, Clone, clap::Args)]
pub struct Where {
    /// Address of the running server.
    #[arg(long, default_value = super::commands::serve::LISTEN)]
    server: SocketAddr,
    /// Data folder, where no server runs on it.
    #[arg(long, conflicts_with = "server")]
    data: Option<PathBuf>,
}

/// The API of one server.
#[derive(Debug, Clone, Copy)]
pub struct Client(SocketAddr);

/// An answer that says no, as the API tells it.
#[derive(Debug)]
pub struct Refused {
    path: String,
    message: String,
    remedy: String,
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}. {}.", self.path, self.message, self.remedy)
    }
}

impl std::error::Error for Refused {}

impl Where {
    /// Runs `f` with the API of the server, or of the data folder, which is then served for so long.
    ///
    /// # Errors
    /// What `f` says, or where nothing answers.
    pub fn with<T: Send + 'static>(&self, f: impl FnOnce(Client) -> Result<T> + Send + 'static) -> Result<T> {
        let Some(data) = &self.data else {
            return f(Client(self.server));
        };
        tokio::runtime::Runtime::new()?.block_on(async {
            let station = Station::new(Store::open(data).await?, 1)?;
            let plan = Plan {
                listen: SocketAddr::from(([127, 0, 0, 1], 0)),
                dicom_listen: None,
                ae_title: "SERRATA".to_owned(),
                watch: Vec::new(),
            };
            let bound = bind(station, plan).await?;
            let address = bound.http_address()?;
            let (stop, stopped) = tokio::sync::watch::channel(false);
            let served = tokio::spawn(bound.run(stopped));
            let done = tokio::task::spawn_blocking(move || f(Client(address))).await;
            let _ = stop.send(true); // it may have ended by itself
            served.await.context("the data folder's service ended badly")??;
            done.context("the question ended badly")?
        })
    }
}

impl Client {
    /// Asks.
    ///
    /// # Errors
    /// [`Refused`], or where nothing answers.
    pub fn get(&self, path: &str) -> Result<Value> {
        json(&self.talk("GET", path, "application/json", &[])?)
    }

    /// Asks for plain text.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn text(&self, path: &str) -> Result<String> {
        Ok(String::from_utf8(self.talk("GET", path, "text/plain", &[])?)?)
    }

    /// Tells something.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn post(&self, path: &str, body: &Value) -> Result<Value> {
        json(&self.talk("POST", path, "application/json", body.to_string().as_bytes())?)
    }

    /// Tells bytes of a kind.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn send(&self, path: &str, kind: &str, body: &[u8]) -> Result<Value> {
        json(&self.talk("POST", path, kind, body)?)
    }

    /// Fetches something long into a file, piece by piece.
    ///
    /// # Errors
    /// As [`Client::get`], or where the file cannot be written or the answer ends too soon.
    pub fn fetch(&self, path: &str, into: &mut impl Write) -> Result<()> {
        let (mut socket, head, first) = self.ask("GET", path, "application/json", &[])?;
        let (status, long) = read_head(&head).with_context(|| self.nobody())?;
        if status != 200 {
            let mut all = first;
            socket.read_to_end(&mut all).with_context(|| self.nobody())?;
            return Err(self.refusal(&all));
        }
        into.write_all(&first)?;
        let more = std::io::copy(&mut socket, into)?;
        let came = more + first.len() as u64;
        if long.is_some_and(|l| l != came) {
            bail!("{}: the answer broke off after {came} bytes; ask again", self.0);
        }
        Ok(())
    }

    fn nobody(&self) -> String {
        format!("{}: no server answers; start `serrata serve`, or name the folder with --data", self.0)
    }

    /// Asks, and reads up to the end of the answer's head; gives the head and what came after it already.
    fn ask(
        &self,
        method: &str,
        path: &str,
        kind: &str,
        body: &[u8],
    ) -> Result<(TcpStream, Vec<u8>, Vec<u8>)> {
        let nobody = || self.nobody();
        let mut socket = TcpStream::connect_timeout(&self.0, Duration::from_secs(5)).with_context(nobody)?;
        socket.set_read_timeout(Some(PATIENCE))?;
        let head = format!(
            "{method} /api/v1{path} HTTP/1.1\r\nHost: {}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            self.0,
            body.len()
        );
        socket.write_all(head.as_bytes())?;
        socket.write_all(body)?;
        let mut all = Vec::new();
        let mut piece = vec![0u8; 1 << 16];
        loop {
            let n = socket.read(&mut piece).with_context(nobody)?;
            all.extend_from_slice(&piece[..n]);
            if let Some(end) = all.windows(4).position(|w| w == b"\r\n\r\n") {
                let after = all.split_off(end + 4);
                return Ok((socket, all, after));
            }
            if n == 0 || all.len() > HEAD {
                bail!("{}", self.nobody());
            }
        }
    }

    /// An answer that says no, as an error.
    fn refusal(&self, answer: &[u8]) -> anyhow::Error {
        let Ok(line) = serde_json::from_slice::<Value>(answer) else {
            return anyhow::anyhow!(
                "{}: {}",
                self.0,
                String::from_utf8_lossy(answer).trim().replace('\n', " ")
            );
        };
        let word = |key: &str| line[key].as_str().unwrap_or_default().trim_end_matches('.').to_owned();
        Refused { path: word("path"), message: word("message"), remedy: word("remedy") }.into()
    }

    fn talk(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> Result<Vec<u8>> {
        let (mut socket, head, mut answer) = self.ask(method, path, kind, body)?;
        socket.read_to_end(&mut answer).with_context(|| self.nobody())?;
        let (status, _) = read_head(&head).with_context(|| self.nobody())?;
        if status == 200 { Ok(answer) } else { Err(self.refusal(&answer)) }
    }
}

/// Longest head of an answer.
const HEAD: usize = 1 << 16;

/// Status and length of an answer.
fn read_head(head: &[u8]) -> Option<(u16, Option<u64>)> {
    let text = String::from_utf8_lossy(head);
    let status = text.split_ascii_whitespace().nth(1)?.parse().ok()?;
    let long = text.lines().find_map(|l| {
        let (name, value) = l.split_once(':')?;
        name.eq_ignore_ascii_case("content-length").then(|| value.trim().parse().ok())?
    });
    Some((status, long))
}

fn json(bytes: &[u8]) -> Result<Value> {
    serde_json::from_slice(bytes).context("the server's answer is no JSON; is it another program's port?")
}

/// A part of a path, with what has a meaning there escaped.
pub fn part(text: &str) -> String {
    text.bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' => char::from(b).to_string(),
            _ => format!("%{b:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #[test]
    fn parts_of_a_path_cannot_become_other_paths() {
        assert_eq!(super::part("colour ahead R"), "colour%20ahead%20R");
        assert_eq!(super::part("../x?y"), "..%2Fx%3Fy");
    }
}
