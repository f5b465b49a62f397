//! The house: which crate may know which, and what the pure rooms must not know at all.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use std::collections::{BTreeMap, BTreeSet};

/// Arrows that are allowed (normal dependencies), from the plan in ARCHITECTURE.md.
fn allowed() -> BTreeMap<&'static str, &'static [&'static str]> {
    BTreeMap::from([
        ("words", &[] as &[&str]),
        ("eye", &["words"]),
        ("frame", &["words"]),
        ("phantom", &["words", "eye", "frame"]),
        ("appraise", &["words", "eye", "frame"]),
        ("assemble", &["words", "eye", "frame"]),
        ("dye", &["words", "eye", "frame", "assemble"]),
        ("visit", &["words", "eye"]),
        ("dicom", &["words", "frame"]),
        ("store", &["words"]),
        ("report", &[]),
        (
            "station",
            &["words", "eye", "frame", "appraise", "assemble", "dye", "visit", "dicom", "store", "report"],
        ),
        (
            "cli",
            &[
                "words", "eye", "frame", "phantom", "appraise", "assemble", "dye", "visit", "dicom", "store",
                "station",
            ],
        ),
    ])
}

/// Rooms above the line: synchronous and pure.
const PURE: [&str; 8] = ["words", "eye", "frame", "phantom", "appraise", "assemble", "dye", "visit"];

/// What a pure room must not pull in, not even through others.
const FORBIDDEN: [&str; 5] = ["tokio", "sqlx", "axum", "notify", "object_store"];

/// For this machine's kind alone, since a build fetches no packages of other kinds.
fn metadata() -> cargo_metadata::Metadata {
    let said = std::process::Command::new(env!("CARGO")).arg("-vV").output().expect("cargo says what it is");
    let said = String::from_utf8(said.stdout).expect("cargo speaks UTF-8");
    let host = said.lines().find_map(|l| l.strip_prefix("host: ")).expect("cargo names its host").to_owned();
    cargo_metadata::MetadataCommand::new()
        .manifest_path(concat!(env!("CARGO_MANIFEST_DIR"), "/../../Cargo.toml"))
        .other_options(vec!["--offline".to_owned(), "--filter-platform".to_owned(), host])
        .exec()
        .expect("cargo metadata answers")
}

#[test]
fn arrows_go_one_way() {
    let metadata = metadata();
    let allowed = allowed();
    let mut seen = 0;
    for package in metadata.workspace_packages() {
        let name = package.name.as_str().strip_prefix("serrata-").expect("every room is called serrata-…");
        let may =
            allowed.get(name).unwrap_or_else(|| panic!("{name}: a new room needs its arrows named here"));
        for d in package.dependencies.iter().filter(|d| d.kind != cargo_metadata::DependencyKind::Development)
        {
            if let Some(to) = d.name.as_str().strip_prefix("serrata-") {
                assert!(may.contains(&to), "{name} must not know {to}");
            }
        }
        seen += 1;
    }
    assert_eq!(seen, allowed.len());
}

#[test]
fn pure_rooms_know_neither_tasks_nor_sql() {
    let metadata = metadata();
    let resolve = metadata.resolve.as_ref().expect("a resolved graph");
    let name_of = |id: &cargo_metadata::PackageId| metadata[id].name.to_string();
    for room in PURE {
        let root = metadata
            .workspace_packages()
            .into_iter()
            .find(|p| p.name.as_str() == format!("serrata-{room}"))
            .expect("the room is there");
        let (mut todo, mut met) = (vec![root.id.clone()], BTreeSet::new());
        while let Some(id) = todo.pop() {
            if !met.insert(id.clone()) {
                continue;
            }
            let node = resolve.nodes.iter().find(|n| n.id == id).expect("every package is resolved");
            for d in &node.deps {
                if d.dep_kinds.iter().any(|k| k.kind == cargo_metadata::DependencyKind::Normal) {
                    todo.push(d.pkg.clone());
                }
            }
        }
        for id in met {
            assert!(!FORBIDDEN.contains(&name_of(&id).as_str()), "{room} pulls in {}", name_of(&id));
        }
    }
}
