//! `serrata serve`: the page, the watched folders and the DICOM storage service.

use anyhow::{Context, Result};
use serde::Deserialize;
use serrata_dicom::WorklistServer;
use serrata_station::sending::Destination;
use serrata_station::serve::{Plan, bind};
use serrata_station::{Settings, Station};
use serrata_store::Store;
use serrata_visit::ClinicLines;
use std::io::Write;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tokio::signal::unix::{SignalKind, signal};

/// Address of the page where none is given.
pub const LISTEN: &str = "127.0.0.1:8420";

/// Serves the page, watches folders, and takes DICOM objects.
///
/// Only this machine's own addresses are served: there are no accounts yet. Each picture is kept, synced and indexed
/// before its sender hears of success, and is checked as it comes.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  serrata serve --data clinic --watch /mnt/camera --dicom-listen 127.0.0.1:11112"
)]
pub struct Args {
    /// Data folder; made where it does not exist.
    #[arg(long, default_value = "serrata-data")]
    data: PathBuf,
    /// Address of the page [default: 127.0.0.1:8420; port 0 takes a free one].
    #[arg(long)]
    listen: Option<SocketAddr>,
    /// Address of the DICOM storage service; without it there is none.
    #[arg(long)]
    dicom_listen: Option<SocketAddr>,
    /// Our DICOM name (AE title) [default: SERRATA].
    #[arg(long)]
    ae_title: Option<String>,
    /// Folder to watch for pictures; may be given several times. Its files are never touched.
    #[arg(long, value_name = "DIR")]
    watch: Vec<PathBuf>,
    /// Where the worklist is (HOST:PORT); without it orders come from tables or are typed in.
    #[arg(long, value_name = "HOST:PORT")]
    worklist: Option<String>,
    /// DICOM name (AE title) of the worklist [default: WORKLIST].
    #[arg(long, value_name = "AE")]
    worklist_ae: Option<String>,
    /// TOML file with `listen`, `dicom_listen`, `ae_title`, `watch`, `worklist`, `worklist_ae`,
    /// `wiping` and `red_eye` (the clinic's own lines), and a table `[[destination]]` for each place that pictures are sent to
    /// (`name`, `address`, `ae_title`, `proof`, `silence_s`), `paper_template` (docs/handover.md); options given here win.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
}

/// What a config file may say.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Config {
    listen: Option<SocketAddr>,
    dicom_listen: Option<SocketAddr>,
    ae_title: Option<String>,
    watch: Vec<PathBuf>,
    worklist: Option<String>,
    worklist_ae: Option<String>,
    wiping: Option<String>,
    red_eye: Option<String>,
    destination: Vec<Destination>,
    paper_template: Option<PathBuf>,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let config = match &args.config {
        Some(path) => read_config(path)?,
        None => Config::default(),
    };
    let listen = match args.listen.or(config.listen) {
        Some(a) => a,
        None => LISTEN.parse().context("the built-in address")?,
    };
    let mut settings = settings(args, &config);
    if let Some(path) = &config.paper_template {
        let text = std::fs::read_to_string(path).with_context(|| {
            format!("{}: the paper's template cannot be read; check its name", path.display())
        })?;
        settings.paper_template = Some(text);
    }
    let plan = Plan {
        listen,
        dicom_listen: args.dicom_listen.or(config.dicom_listen),
        ae_title: args.ae_title.clone().or(config.ae_title).unwrap_or_else(|| "SERRATA".to_owned()),
        watch: if args.watch.is_empty() { config.watch } else { args.watch.clone() },
    };
    let runtime = tokio::runtime::Runtime::new().context("no threads can be started")?;
    runtime.block_on(async {
        let store = Store::open(&args.data).await?;
        let station = Station::with(store, 0, settings)?;
        up(station, plan).await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// What the clinic says of its own house.
fn settings(args: &Args, config: &Config) -> Settings {
    let ae_title = args.ae_title.clone().or(config.ae_title.clone()).unwrap_or_else(|| "SERRATA".to_owned());
    let theirs = args.worklist_ae.clone().or(config.worklist_ae.clone());
    let address = args.worklist.clone().or(config.worklist.clone());
    Settings {
        worklist: address
            .map(|a| WorklistServer::new(a, theirs.unwrap_or_else(|| "WORKLIST".to_owned()), &ae_title)),
        lines: ClinicLines { wiping: config.wiping.clone(), red_eye: config.red_eye.clone() },
        ae_title,
        paper_template: None,
        destinations: config.destination.clone(),
    }
}

/// Serves until the program is told to stop, after printing where.
pub async fn up(station: Station, plan: Plan) -> Result<()> {
    let bound = bind(station, plan).await?;
    let (http, dicom) = (bound.http_address()?, bound.dicom_address()?);
    let mut out = std::io::stdout();
    if let Some(a) = dicom {
        writeln!(out, "DICOM storage listens on {a}")?;
    }
    writeln!(out, "Serrata is at http://{http}")?;
    out.flush()?;
    let (stop, stopped) = tokio::sync::watch::channel(false);
    tokio::spawn(async move {
        let Ok(mut term) = signal(SignalKind::terminate()) else { return };
        tokio::select! {
            _ = tokio::signal::ctrl_c() => {}
            _ = term.recv() => {}
        }
        let _ = stop.send(true); // the server is gone already
    });
    bound.run(stopped).await?;
    Ok(())
}

fn read_config(path: &Path) -> Result<Config> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("{}: the config file cannot be read; check its name", path.display()))?;
    let config: Config = toml::from_str(&text).map_err(|e| {
        let line = e.to_string().trim().replace('\n', " ");
        anyhow::anyhow!("{}: the config file is not understood: {line}", path.display())
    })?;
    let places = &config.destination;
    if let Some(fault) = places.iter().find_map(Destination::fault) {
        anyhow::bail!("{}: {fault}; mend it", path.display());
    }
    if let Some(twice) =
        places.iter().enumerate().find(|(i, d)| places[..*i].iter().any(|e| e.name == d.name))
    {
        anyhow::bail!(
            "{}: two destinations are called {}; give each a name of its own",
            path.display(),
            twice.1.name
        );
    }
    Ok(config)
}
