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

    fn talk(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> Result<Vec<u8>> {
        let nobody = || {
            format!("{}: no server answers; start `serrata serve`, or name the folder with --data", self.0)
        };
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
        socket.read_to_end(&mut all).with_context(nobody)?;
        let end = all.windows(4).position(|w| w == b"\r\n\r\n").with_context(nobody)?;
        let status: u16 = String::from_utf8_lossy(&all[..end])
            .split_ascii_whitespace()
            .nth(1)
            .and_then(|s| s.parse().ok())
            .with_context(nobody)?;
        let answer = all[end + 4..].to_vec();
        if status == 200 {
            return Ok(answer);
        }
        let Ok(line) = serde_json::from_slice::<Value>(&answer) else {
            bail!("{}: {}", self.0, String::from_utf8_lossy(&answer).trim().replace('\n', " "));
        };
        let word = |key: &str| line[key].as_str().unwrap_or_default().trim_end_matches('.').to_owned();
        Err(Refused { path: word("path"), message: word("message"), remedy: word("remedy") }.into())
    }
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
