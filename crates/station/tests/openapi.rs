//! The committed description of the API: what others built on it must not break.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests

use serde_json::Value;
use utoipa::OpenApi;

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi.json");

fn now() -> Value {
    serde_json::to_value(serrata_station::api::Description::openapi()).unwrap()
}

fn committed() -> Value {
    serde_json::from_str(&std::fs::read_to_string(FILE).unwrap()).unwrap()
}

/// Everything that a caller may rely on: paths with methods, and the type of each property.
fn relied_on(api: &Value) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for (path, methods) in api["paths"].as_object().unwrap() {
        for (method, what) in methods.as_object().unwrap() {
            all.push((format!("{method} {path}"), String::new()));
            for p in what["parameters"].as_array().into_iter().flatten() {
                all.push((format!("{method} {path} ?{}", p["name"]), p["schema"]["type"].to_string()));
            }
            for (code, answer) in what["responses"].as_object().unwrap() {
                let kind = answer["content"]["application/json"]["schema"]["$ref"].to_string();
                all.push((format!("{method} {path} -> {code}"), kind));
            }
        }
    }
    for (name, schema) in api["components"]["schemas"].as_object().unwrap() {
        let parts = schema["allOf"].as_array().cloned().unwrap_or_else(|| vec![schema.clone()]);
        for part in parts {
            for (property, what) in part["properties"].as_object().into_iter().flatten() {
                let mut what = what.clone();
                if let Some(o) = what.as_object_mut() {
                    o.remove("description");
                }
                all.push((format!("{name}.{property}"), what.to_string()));
            }
        }
    }
    all
}

#[test]
fn nothing_that_callers_rely_on_is_removed_or_retyped() {
    let (old, new) = (relied_on(&committed()), relied_on(&now()));
    assert!(old.len() > 80, "the committed description is too short to be true: {}", old.len());
    for entry in &old {
        assert!(new.contains(entry), "removed or retyped: {entry:?}");
    }
}

/// Run with `SERRATA_WRITE_OPENAPI=1` to write the file anew.
#[test]
fn the_committed_description_is_current() {
    let text = serde_json::to_string_pretty(&now()).unwrap() + "\n";
    if std::env::var_os("SERRATA_WRITE_OPENAPI").is_some() {
        std::fs::write(FILE, &text).unwrap();
    }
    assert_eq!(std::fs::read_to_string(FILE).unwrap(), text, "run this test with SERRATA_WRITE_OPENAPI=1");
}
