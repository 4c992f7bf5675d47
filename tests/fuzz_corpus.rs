//! The fuzz targets' bodies over every regression file and the small samples,
//! and over changed copies of them, always the same ones.
//!
//! Protects against panics, hangs and infinities on damaged input.

#[path = "support/fuzz_bodies.rs"]
mod fuzz_bodies;
#[path = "support/stacks.rs"]
#[expect(dead_code, reason = "only its files are used here")]
mod stacks;

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

type Body = fn(&[u8]);

fn gather(folder: &Path, into: &mut Vec<(Vec<Body>, Vec<u8>)>) {
    let mut paths: Vec<_> = fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    paths.sort();
    for path in paths {
        if path.is_dir() {
            gather(&path, into);
            continue;
        }
        let bytes = fs::read(&path).expect("readable");
        let bodies: Vec<Body> = match path.extension().and_then(|ending| ending.to_str()) {
            Some("toml") => vec![fuzz_bodies::recipe],
            Some("json") => vec![fuzz_bodies::record],
            Some("fits") => vec![fuzz_bodies::fits_header, fuzz_bodies::open],
            _ => vec![fuzz_bodies::open],
        };
        into.push((bodies, bytes));
    }
}

fn corpus() -> Vec<(Vec<Body>, Vec<u8>)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let mut all = Vec::new();
    gather(&root.join("regressions"), &mut all);
    gather(&root.join("golden/inputs"), &mut all);
    all.push((vec![fuzz_bodies::recipe], stacks::RECIPE.into()));
    all
}

#[test]
fn every_regression_file_is_borne() {
    let all = corpus();
    assert!(all.len() > 10, "the corpus is lost");
    for (bodies, bytes) in &all {
        bodies.iter().for_each(|body| body(bytes));
    }
}

// One change: a byte, a bit, a stretch gone, doubled or zeroed.
fn change(bytes: &mut Vec<u8>, draw: &mut impl FnMut(usize) -> usize) {
    if bytes.is_empty() {
        return;
    }
    // Most of what matters stands at the beginning.
    let reach = [64, 512, 4096, usize::MAX][draw(4)].min(bytes.len());
    let at = draw(reach);
    let end = (at + 1 + draw(16)).min(bytes.len());
    match draw(6) {
        0 => bytes[at] = draw(256) as u8,
        1 => bytes[at] ^= 1 << draw(8),
        2 => drop(bytes.drain(at..end)),
        3 => {
            let twice = bytes[at..end].to_vec();
            bytes.splice(at..at, twice);
        }
        4 => bytes[at..end].fill([0, 0xff, b' ', b'9'][draw(4)]),
        _ => bytes.truncate(at.max(bytes.len() / 2)),
    }
}

#[test]
fn changed_copies_are_borne() {
    let all = corpus();
    let mut state = 0x1234_5678_9abc_def1_u64;
    let mut draw = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as usize % below
    };
    let until = Instant::now() + Duration::from_secs(6);
    let mut tried = 0;
    for _ in 0..150 {
        for (bodies, bytes) in &all {
            let mut changed = bytes.clone();
            for _ in 0..=draw(4) {
                change(&mut changed, &mut draw);
            }
            bodies.iter().for_each(|body| body(&changed));
            tried += 1;
        }
        if Instant::now() > until {
            break;
        }
    }
    println!("{tried} changed copies");
    assert!(tried >= all.len());
}
