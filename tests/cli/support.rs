//! What several of these tests do.

use std::fs;
use std::path::Path;

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::stacks::Bench;

pub(super) fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

pub(super) fn record_of(bench: &Bench, composite: &str) -> Value {
    let text = fs::read_to_string(bench.at(&format!("{composite}.record.json"))).expect("record");
    json(&text)
}

pub(super) fn sha256(path: &Path) -> String {
    let hash = Sha256::digest(fs::read(path).expect("the file is there"));
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

pub(super) fn check<'a>(verdict: &'a Value, what: &str) -> &'a Value {
    verdict["checks"]
        .as_array()
        .expect("checks")
        .iter()
        .find(|check| check["what"] == what)
        .unwrap_or_else(|| panic!("no check of {what} in {verdict}"))
}

// A bench with a composite that verifies.
pub(super) fn composed(name: &str) -> Bench {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", name]);
    bench
}

pub(super) fn verdict(bench: &Bench, code: i32, record: &str, more: &[&str]) -> Value {
    let mut arguments = vec!["verify", record, "--json"];
    arguments.extend(more);
    let verdict = json(&bench.run(code, &arguments).out);
    assert_eq!(verdict["holds"], code == 0);
    verdict
}
