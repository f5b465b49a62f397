//! Everything that runs while the server is up.

use crate::Station;
use crate::intake::{folder, storage::Keeper};
use crate::{api, sending, work};
use std::io::{Error, ErrorKind};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// What to serve, and where.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Address of the page and the API.
    pub listen: SocketAddr,
    /// Address of the DICOM storage service, if any.
    pub dicom_listen: Option<SocketAddr>,
    /// Our own DICOM name (AE title).
    pub ae_title: String,
    /// Folders to watch.
    pub watch: Vec<PathBuf>,
}

/// A bound server that is not yet running: its addresses are known.
pub struct Bound {
    station: Station,
    plan: Plan,
    http: TcpListener,
    dicom: Option<TcpListener>,
}

/// Binds all addresses.
///
/// # Errors
/// Where an address is no loopback address, is taken, or a watched folder cannot be read: one sentence each.
pub async fn bind(station: Station, plan: Plan) -> std::io::Result<Bound> {
    for folder in &plan.watch {
        std::fs::read_dir(folder).map_err(|e| {
            Error::new(
                e.kind(),
                format!(
                    "{}: the folder to watch cannot be read ({e}); make it or name another",
                    folder.display()
                ),
            )
        })?;
    }
    let http = listen(plan.listen, "--listen").await?;
    let dicom = match plan.dicom_listen {
        Some(a) => Some(listen(a, "--dicom-listen").await?),
        None => None,
    };
    Ok(Bound { station, plan, http, dicom })
}

async fn listen(address: SocketAddr, option: &str) -> std::io::Result<TcpListener> {
    if !address.ip().is_loopback() {
        return Err(Error::new(
            ErrorKind::InvalidInput,
            format!(
                "{address}: only this machine's own addresses can be served, since there are no accounts yet; use {option} 127.0.0.1:{}",
                address.port()
            ),
        ));
    }
    TcpListener::bind(address).await.map_err(|e| {
        let text = match e.kind() {
            ErrorKind::AddrInUse => {
                format!("{address}: the port is taken by another program; stop it or choose another port with {option}")
            }
            ErrorKind::PermissionDenied => {
                format!("{address}: this user may not use that port; choose one above 1023 with {option}")
            }
            _ => format!("{address}: cannot be listened on ({e}); choose another address with {option}"),
        };
        Error::new(e.kind(), text)
    })
}

impl Bound {
    /// Address of the page.
    ///
    /// # Errors
    /// As the system says.
    pub fn http_address(&self) -> std::io::Result<SocketAddr> {
        self.http.local_addr()
    }

    /// Address of the DICOM storage service, where there is one.
    ///
    /// # Errors
    /// As the system says.
    pub fn dicom_address(&self) -> std::io::Result<Option<SocketAddr>> {
        self.dicom.as_ref().map(TcpListener::local_addr).transpose()
    }

    /// Serves until `stop` turns true, then lets open transfers end.
    ///
    /// # Errors
    /// Where the HTTP server fails.
    pub async fn run(self, stop: watch::Receiver<bool>) -> std::io::Result<()> {
        let workers = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        let mut tasks = tokio::task::JoinSet::new();
        for _ in 0..workers {
            tasks.spawn(work::work(self.station.clone()));
        }
        for folder in self.plan.watch.clone() {
            tasks.spawn(folder::watch(self.station.clone(), folder));
        }
        for to in &self.station.settings().destinations {
            tasks.spawn(sending::run(self.station.clone(), to.clone()));
        }
        let storage = self.dicom.map(|listener| {
            let options =
                serrata_dicom::ScpOptions { ae_title: self.plan.ae_title.clone(), ..Default::default() };
            let mut stop = stop.clone();
            tokio::spawn(serrata_dicom::serve(
                listener,
                options,
                Arc::new(Keeper(self.station.clone())),
                async move {
                    let _ = stop.wait_for(|s| *s).await; // a dropped sender means stop as well
                },
            ))
        });
        let mut ended = stop.clone();
        let app = api::router(self.station.clone());
        let server = axum::serve(self.http, app).with_graceful_shutdown(async move {
            let _ = ended.wait_for(|s| *s).await; // a dropped sender means stop as well
        });
        let mut cut = stop;
        let served = tokio::select! {
            served = server.into_future() => served,
            // Live event streams never end by themselves: they are cut shortly after.
            () = async {
                let _ = cut.wait_for(|s| *s).await;
                tokio::time::sleep(std::time::Duration::from_millis(500)).await;
            } => Ok(()),
        };
        if let Some(s) = storage {
            let _ = tokio::time::timeout(std::time::Duration::from_secs(10), s).await; // a stuck sender is left
        }
        self.station.background().stop();
        tasks.shutdown().await;
        self.station.store().close().await;
        served
    }
}
