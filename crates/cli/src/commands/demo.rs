//! `serrata demo`: an invented clinic day, made and served.

use crate::commands::serve::{LISTEN, up};
use crate::day::{Guest, Shot, guests};
use anyhow::{Context, Result};
use serrata_dicom::{NewObject, Person as DicomPerson, uid, write_photograph};
use serrata_phantom::render;
use serrata_station::Station;
use serrata_station::intake::take;
use serrata_station::serve::Plan;
use serrata_store::{By, NewVisit, Person, Source, Store};
use serrata_visit::Protocol;
use serrata_words::{Modality, Personal, Stamp};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::LazyLock;

/// Makes an invented clinic day and serves it: nobody in it exists.
///
/// The day is made once; with a folder that holds one already it is only served. Pictures that are copied into the
/// folder `incoming` beside the data come in as from a camera.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  serrata demo --dir day --listen 127.0.0.1:8420")]
pub struct Args {
    /// Folder for the day.
    #[arg(long, default_value = "demo-data")]
    dir: PathBuf,
    /// Address of the page [default: 127.0.0.1:8420; port 0 takes a free one].
    #[arg(long)]
    listen: Option<SocketAddr>,
    /// Address of the DICOM storage service; without it there is none.
    #[arg(long)]
    dicom_listen: Option<SocketAddr>,
    /// Side of the pictures in pixels; smaller ones are made sooner.
    #[arg(long, default_value_t = 3600, value_parser = clap::value_parser!(u32).range(256..=8192))]
    size: u32,
    /// Seed of the day.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Makes the day without serving it.
    #[arg(long)]
    no_serve: bool,
}

pub fn run(args: &Args) -> Result<ExitCode> {
    let listen = match args.listen {
        Some(a) => a,
        None => LISTEN.parse().context("the built-in address")?,
    };
    let incoming = args.dir.join("incoming");
    let data = args.dir.join("data");
    std::fs::create_dir_all(&incoming).with_context(|| {
        format!("{}: the folder cannot be made; name another with --dir", incoming.display())
    })?;
    tokio::runtime::Runtime::new()?.block_on(async {
        let store = Store::open(&data).await?;
        let station = Station::new(store, 0)?;
        let have = station.store().list_visits(&serrata_store::VisitQuery::default()).await?.len();
        let day = guests(args.seed, args.size);
        if have < day.len() {
            make(&station, &day[have..]).await?;
        }
        if args.no_serve {
            station.store().close().await;
            return Ok(());
        }
        let plan = Plan {
            listen,
            dicom_listen: args.dicom_listen,
            ae_title: "SERRATA".to_owned(),
            watch: vec![incoming.clone()],
        };
        println!(
            "An invented day: nobody in it exists. Copy pictures into {} to see them come in.",
            incoming.display()
        );
        up(station, plan).await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Makes the visits and takes in their pictures, as a camera would send them.
async fn make(station: &Station, day: &[Guest]) -> Result<()> {
    let protocols = Protocol::shipped()?;
    let total: usize = day.iter().map(|g| g.shots.len()).sum();
    let mut done = 0;
    for guest in day {
        let protocol = protocols
            .iter()
            .find(|p| p.name == guest.protocol)
            .with_context(|| format!("the protocol {} is not there", guest.protocol))?;
        let study = uid::fresh();
        station
            .store()
            .create_visit(
                NewVisit {
                    study_uid: Some(study.clone()),
                    person: Person {
                        id: Personal::new(guest.id.to_owned()),
                        name: Personal::new(guest.name.to_owned()),
                        birth_date: Some(Personal::new(guest.born.to_owned())),
                        sex: None,
                    },
                    order: protocol.title.clone(),
                    protocol: serde_json::to_value(protocol.plan(&serrata_visit::Ask::default())?)?,
                    chair: guest.chair.map(str::to_owned),
                    opened_us: at_minute(guest.shots.first().map_or(40, |s| s.minute)),
                },
                &By::station(),
            )
            .await?;
        for shot in &guest.shots {
            done += 1;
            eprintln!("Drawing picture {done} of {total}");
            let file = object(guest, shot, &study)?;
            let name = format!("{}-{done}.dcm", guest.id);
            take(station, &name, Source::Dicom { calling: "DEMO".to_owned() }, file).await?;
        }
    }
    Ok(())
}

/// One picture as a DICOM object.
fn object(guest: &Guest, shot: &Shot, study: &str) -> Result<Vec<u8>> {
    let frame = render(&shot.scene).frame;
    let acquired = Stamp {
        utc_us: at_minute(shot.minute),
        offset_minutes: Some(0),
        granularity_us: 1_000_000,
        clock: shot.scene.instrument.name.clone(),
    };
    let eye = shot.scene.labelled.unwrap_or(shot.scene.eye);
    let mut new = NewObject::new(eye, shot.scene.modality, acquired);
    new.patient = DicomPerson {
        id: Personal::new(guest.id.to_owned()),
        name: Personal::new(guest.name.to_owned()),
        birth_date: Personal::new(guest.born.to_owned()),
        sex: Personal::new(String::new()),
    };
    if !shot.stray {
        study.clone_into(&mut new.study_uid);
    }
    new.gaze = Some(shot.scene.gaze);
    if shot.scene.modality == Modality::Faf {
        // Invented: the instrument's blue laser, and a barrier above it.
        (new.excitation_nm, new.barrier_nm) = (Some(476), Some([510, 750]));
    }
    Ok(write_photograph(&frame, &new)?)
}

/// How long the invented day has been running when it is shown, in seconds: longer than its last picture is late.
const RUNNING_S: i64 = 75 * 60;

/// When the invented day began, the same for a whole run: at eight, or earlier, so that no picture lies in the future.
static BEGAN_S: LazyLock<i64> = LazyLock::new(|| {
    let now = jiff::Timestamp::now().as_second();
    let eight = now.div_euclid(86_400) * 86_400 + 8 * 3600;
    eight.min((now - RUNNING_S).div_euclid(60) * 60)
});

/// A minute of the invented day, in microseconds since 1970 UTC.
fn at_minute(minute: u32) -> i64 {
    (*BEGAN_S + i64::from(minute) * 60) * 1_000_000
}
