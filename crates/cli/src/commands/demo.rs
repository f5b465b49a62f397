//! `serrata demo`: an invented clinic day, made and served.

use crate::commands::serve::{LISTEN, up};
use crate::day::{Guest, Run, Shot, dye_runs, guests};
use anyhow::{Context, Result};
use serrata_dicom::{NewObject, Person as DicomPerson, uid, write_photograph};
use serrata_phantom::render;
use serrata_station::Station;
use serrata_station::intake::take;
use serrata_station::serve::Plan;
use serrata_store::{By, NewVisit, Person, Source, Store};
use serrata_visit::Protocol;
use serrata_words::{Drug, Fact, Modality, Personal, Route, Stamp};
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
        let runs = dye_runs(args.seed, (args.size / SMALLER).max(256))?;
        for (k, run) in runs.iter().enumerate().skip(have.saturating_sub(day.len())) {
            eprintln!("Drawing dye run {} of {}", k + 1, runs.len());
            make_run(&station, run, k == 0).await?;
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

/// Frames of dye runs are by so much smaller than other pictures: there are many of them.
const SMALLER: u32 = 3;

/// How long ago, in seconds, the needle of the run that still goes on went in when the day is made: its late frames fall due
/// half a minute later.
const RUNNING_DYE_S: i64 = 215;

/// Until when that run was photographed, seconds after the injection.
const TAKEN_S: f64 = 120.0;

/// A dye run: one that still goes on, whose start a person touched, or one of this morning, whose start the frames' header says.
async fn make_run(station: &Station, run: &Run, goes_on: bool) -> Result<()> {
    let scene = &run.run.scene;
    let protocol = Protocol::shipped()?
        .into_iter()
        .find(|p| p.name == run.protocol)
        .with_context(|| format!("the protocol {} is not there", run.protocol))?;
    let ask = serrata_visit::Ask { transit: Some(scene.eye), ..serrata_visit::Ask::default() };
    // Drawn before the clock starts: drawing takes a while.
    let taken: Vec<_> = run
        .run
        .plan
        .iter()
        .zip(run.run.frames(&run.eye))
        .filter(|((s, _), _)| !goes_on || *s <= TAKEN_S)
        .map(|((s, modality), made)| (*s, *modality, made.frame))
        .collect();
    let start_us = if goes_on {
        (jiff::Timestamp::now().as_second() - RUNNING_DYE_S) * 1_000_000
    } else {
        at_minute(45)
    };
    let study = uid::fresh();
    let person = Person {
        id: Personal::new(run.id.to_owned()),
        name: Personal::new(run.name.to_owned()),
        birth_date: Some(Personal::new(run.born.to_owned())),
        sex: None,
    };
    let visit = NewVisit {
        study_uid: Some(study.clone()),
        person: person.clone(),
        order: protocol.title.clone(),
        protocol: serde_json::to_value(protocol.plan(&ask)?)?,
        chair: goes_on.then(|| "Dye room".to_owned()),
        opened_us: start_us - 20 * 60_000_000,
    };
    let id = station.store().create_visit(visit, &By::station()).await?;
    if goes_on {
        for fact in [
            Fact::NeedleBegan {
                drug: Drug::Fluorescein,
                route: Route::Vein,
                start_us,
                start_error_us: 500_000,
            },
            Fact::NeedleEnded { drug: Drug::Fluorescein, end_us: start_us + 7_000_000 },
        ] {
            station.store().add_fact(id, fact, None, &By::person("RK")).await?;
        }
    }
    for (k, (seconds, modality, frame)) in taken.into_iter().enumerate() {
        #[allow(clippy::cast_possible_truncation)] // minutes
        let acquired = stamp(start_us + (seconds * 1e6) as i64, &scene.instrument.name);
        let mut new = NewObject::new(scene.eye, modality, acquired);
        new.patient = dicom_person(run.id, run.name, run.born);
        study.clone_into(&mut new.study_uid);
        new.gaze = Some(scene.gaze);
        new.injected = (!goes_on).then(|| stamp(start_us, &scene.instrument.name));
        let file = write_photograph(&frame, &new)?;
        let name = format!("{}-{}.dcm", run.id, k + 1);
        take(station, &name, Source::Dicom { calling: "DEMO".to_owned() }, file).await?;
    }
    Ok(())
}

/// A time of an instrument's clock, to the millisecond.
fn stamp(utc_us: i64, clock: &str) -> Stamp {
    Stamp { utc_us, offset_minutes: Some(0), granularity_us: 1000, clock: clock.to_owned() }
}

fn dicom_person(id: &str, name: &str, born: &str) -> DicomPerson {
    DicomPerson {
        id: Personal::new(id.to_owned()),
        name: Personal::new(name.to_owned()),
        birth_date: Personal::new(born.to_owned()),
        sex: Personal::new(String::new()),
    }
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
    new.patient = dicom_person(guest.id, guest.name, guest.born);
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
