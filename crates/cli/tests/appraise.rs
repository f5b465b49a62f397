//! `serrata appraise` from outside: contract, order, exit codes, bad input beside good.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn serrata(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_serrata")).args(args).output().unwrap()
}

fn lines(out: &Output) -> Vec<Value> {
    String::from_utf8_lossy(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect()
}

fn phantom(dir: &Path, args: &[&str]) -> Value {
    let mut all = vec!["phantom", "frame", "--size", "900", "--json", "-o", dir.to_str().unwrap()];
    all.extend(args);
    let out = serrata(&all);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    lines(&out).remove(0)
}

#[test]
fn good_and_bad_inputs_are_answered_in_order() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name).to_str().unwrap().to_owned();
    let truth = phantom(dir.path(), &["--seed", "3"]);
    std::fs::write(at("empty.jpg"), b"").unwrap();
    let picture = at(truth["file"].as_str().unwrap());
    let missing = at("no-such.png");
    let empty = at("empty.jpg");
    let out = serrata(&["appraise", &empty, &picture, &missing, "--json", "--modality", "colour"]);
    assert_eq!(out.status.code(), Some(1));
    let l = lines(&out);
    assert_eq!(l.len(), 3);
    assert_eq!((l[0]["schema"].as_str(), l[0]["code"].as_str()), (Some("serrata.error/1"), Some("empty")));
    assert_eq!(
        (l[1]["schema"].as_str(), l[1]["path"].as_str()),
        (Some("serrata.appraisal/1"), Some(&*picture))
    );
    assert_eq!(l[2]["code"].as_str(), Some("not_found"));
    let told = String::from_utf8_lossy(&out.stderr);
    assert_eq!(told.lines().count(), 2, "{told}");
    assert!(told.starts_with(&empty), "{told}");
}

#[test]
fn one_job_and_many_say_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    for (seed, eye) in [("3", "R"), ("4", "L"), ("5", "R")] {
        phantom(dir.path(), &["--seed", seed, "--eye", eye]);
    }
    let folder = dir.path().to_str().unwrap();
    let one = serrata(&["appraise", folder, "--json", "--jobs", "1"]);
    let many = serrata(&["appraise", folder, "--json", "--jobs", "3"]);
    assert!(one.status.success(), "{}", String::from_utf8_lossy(&one.stderr));
    assert_eq!(lines(&one).len(), 3, "the truths beside the pictures are left out");
    assert_eq!(one.stdout, many.stdout);
}

#[test]
fn overlays_are_written_and_timings_only_when_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    let truth = phantom(dir.path(), &["--seed", "3"]);
    let picture = dir.path().join(truth["file"].as_str().unwrap());
    let over = dir.path().join("over");
    let picture = picture.to_str().unwrap();
    let out = serrata(&["appraise", picture, "--json", "--timings", "--overlay", over.to_str().unwrap()]);
    assert!(lines(&out)[0]["milliseconds"]["decode"].is_number());
    let drawn: Vec<_> = std::fs::read_dir(&over).unwrap().map(|e| e.unwrap().path()).collect();
    assert_eq!(drawn.len(), 1);
    assert!(image::open(&drawn[0]).unwrap().width() >= 600);
    let plain = serrata(&["appraise", picture, "--json"]);
    assert!(lines(&plain)[0].get("milliseconds").is_none());
}

#[test]
fn an_instrument_gives_area_with_its_radius() {
    let dir = tempfile::tempdir().unwrap();
    let out =
        serrata(&["phantom", "frame", "--seed", "3", "--size", "2000", "-o", dir.path().to_str().unwrap()]);
    assert!(out.status.success());
    let picture = dir.path().join("3-0-R-colour-primary.png");
    let out = serrata(&["appraise", picture.to_str().unwrap(), "--json", "--instrument", "demo-small"]);
    let line = &lines(&out)[0];
    assert!(line["visible_retina"]["area_mm2"].as_f64().unwrap() > 300.0, "{line}");
    assert_eq!(line["visible_retina"]["radius_source"], "population");
    assert!(line["visible_retina"]["uncalibrated"].is_null());
}

#[test]
fn usage_errors_exit_with_two_and_unknown_words_name_the_known() {
    assert_eq!(serrata(&["appraise"]).status.code(), Some(2));
    let out = serrata(&["appraise", "x.png", "--modality", "purple"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("colour, faf, fa, icg"));
    let out = serrata(&["appraise", "x.png", "--instrument", "no-such"]);
    assert_eq!(out.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&out.stderr).contains("demo-wide"));
}

#[test]
fn every_command_has_help_with_an_example() {
    for command in ["appraise", "measure", "serve", "demo", "phantom", "backup", "verify"] {
        let out = serrata(&[command, "--help"]);
        assert!(String::from_utf8_lossy(&out.stdout).contains("Example:"), "{command}");
    }
}
