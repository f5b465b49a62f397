//! Invented arrivals for the tests.
#![allow(dead_code)] // each test file uses its own part

use serrata_store::{By, Incoming, NewFrame, NewVisit, NewWork, Person, Source, Store};
use serrata_words::{AcquisitionFacts, Eye, Method, Modality, Personal};
use std::path::Path;

/// A time in 2026 for everything.
pub const NOW: i64 = 1_770_000_000_000_000;

pub fn by() -> By {
    By::station().at(NOW)
}

pub fn person(id: &str) -> Person {
    Person {
        id: Personal::new(id.to_owned()),
        name: Personal::new(format!("Invented^{id}")),
        birth_date: Some(Personal::new("1961-03-07".to_owned())),
        sex: Some(Personal::new("F".to_owned())),
    }
}

pub fn visit(study: &str, patient: &str) -> NewVisit {
    NewVisit {
        study_uid: Some(study.to_owned()),
        person: person(patient),
        order: "First look".to_owned(),
        protocol: serde_json::json!({"views": [{"name": "right colour"}]}),
        chair: Some("Chair 1".to_owned()),
        opened_us: NOW,
    }
}

pub fn observe() -> NewWork {
    NewWork {
        kind: "observe".to_owned(),
        method: Method::new("observe", 1),
        parameters: serde_json::json!({"modality": "colour", "instrument": null}),
    }
}

/// A file with one frame; its bytes are made of `n`.
pub fn file(n: u64) -> Incoming {
    let mut frame = NewFrame::new(0, 3600, 3600).with_work(observe());
    frame.facts = AcquisitionFacts {
        eye: Some(Eye::R),
        modality: Some(Modality::Colour),
        ..AcquisitionFacts::default()
    };
    let bytes: Vec<u8> = n.to_le_bytes().into_iter().cycle().take(4000).collect();
    Incoming::new(format!("{n}.jpg"), Source::Upload, NOW, bytes).with_frames(vec![frame])
}

/// The same with study and patient.
pub fn dicom(n: u64, study: &str, patient: &str) -> Incoming {
    let mut incoming = file(n);
    incoming.source = Source::Dicom { calling: "CAMERA".to_owned() };
    incoming.study_uid = Some(study.to_owned());
    incoming.instance_uid = Some(format!("2.25.{n}"));
    incoming.person = Some(person(patient));
    incoming
}

pub async fn open(dir: &Path) -> Store {
    Store::open(dir).await.unwrap()
}

/// A database connection beside the store, for tests that tamper.
pub async fn tamper(dir: &Path, sql: &'static str) {
    use sqlx::ConnectOptions;
    let mut conn = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(dir.join("serrata.sqlite"))
        .connect()
        .await
        .unwrap();
    sqlx::raw_sql(sql).execute(&mut conn).await.unwrap();
    sqlx::Connection::close(conn).await.unwrap();
}
