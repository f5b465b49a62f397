//! Canonical JSON and keys.

use serde_json::Value;
use serrata_words::Method;
use sha2::{Digest, Sha256};

/// JSON with sorted keys and no white space: the same value gives the same bytes, whatever order it was made in.
///
/// Numbers are written as `serde_json` writes them; the audit trail uses integers only.
///
/// ```
/// let v = serde_json::json!({"b": 1, "a": [true, null, "x"]});
/// assert_eq!(serrata_store::canonical_json(&v), r#"{"a":[true,null,"x"],"b":1}"#);
/// ```
#[must_use]
pub fn canonical_json(value: &Value) -> String {
    let mut out = String::new();
    write_canonical(value, &mut out);
    out
}

fn write_canonical(value: &Value, out: &mut String) {
    match value {
        Value::Object(map) => {
            // Sorted here and not left to the map: another crate's feature can make maps keep insertion order.
            let mut entries: Vec<_> = map.iter().collect();
            entries.sort_by(|a, b| a.0.cmp(b.0));
            out.push('{');
            for (i, (k, v)) in entries.into_iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                out.push_str(&Value::String(k.clone()).to_string());
                out.push(':');
                write_canonical(v, out);
            }
            out.push('}');
        }
        Value::Array(items) => {
            out.push('[');
            for (i, v) in items.iter().enumerate() {
                if i > 0 {
                    out.push(',');
                }
                write_canonical(v, out);
            }
            out.push(']');
        }
        other => out.push_str(&other.to_string()),
    }
}

/// SHA-256 of bytes, hex.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    hex::encode(Sha256::digest(bytes))
}

/// Key of a work item and of its result: SHA-256 of kind, method name, revision, ordered inputs and the hash of the
/// parameters, as canonical JSON. An input is a file's SHA-256 and a frame's index.
///
/// ```
/// use serrata_words::Method;
/// let m = Method::new("observe", 1);
/// let a = serrata_store::work_key("observe", &m, &[("ab", 0)], &serde_json::json!({"x": 1, "y": 2}));
/// let b = serrata_store::work_key("observe", &m, &[("ab", 0)], &serde_json::json!({"y": 2, "x": 1}));
/// assert_eq!(a, b);
/// assert_ne!(a, serrata_store::work_key("observe", &m, &[("ab", 1)], &serde_json::json!({"x": 1, "y": 2})));
/// ```
#[must_use]
pub fn work_key(kind: &str, method: &Method, inputs: &[(&str, u32)], parameters: &Value) -> String {
    let inputs: Vec<Value> = inputs.iter().map(|(sha, index)| serde_json::json!([sha, index])).collect();
    let parts = serde_json::json!([
        kind,
        method.name,
        method.revision,
        inputs,
        sha256_hex(canonical_json(parameters).as_bytes())
    ]);
    sha256_hex(canonical_json(&parts).as_bytes())
}
