//! Composites against an independent double-precision implementation.
//!
//! Protects the arithmetic of every step. The expected pictures are made by
//! `tests/support/make_golden.py` (numpy, scipy, coloraide, colour-science)
//! from the same recipes; nothing here comes from Linehue's own output.

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use linehue::engine::frame::Depth;
use linehue::engine::recipe::text;
use linehue::io::read::{self, Pick};
use linehue::io::write::Options;
use linehue::work::compose::{self, DEFAULT_MEMORY, Request};
use linehue::work::progress::{Control, Silent};
use serde::Deserialize;

#[derive(Deserialize)]
struct Manifest {
    case: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    name: String,
    recipe: String,
    rendition: String,
    space: String,
    depth: String,
    expected: String,
    tolerance: f64,
    #[serde(default)]
    most_differing: Option<f64>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden")
}

// Interleaved R G B samples of a picture, as doubles.
fn samples(path: &Path) -> Vec<f64> {
    let planes: Vec<Vec<f32>> = (0..3)
        .map(|plane| {
            let opened = read::open(
                path,
                Pick {
                    hdu: None,
                    plane: Some(plane),
                },
            )
            .expect("opens");
            let mut values = vec![0.0; opened.rows.size().pixels()];
            opened.rows.read(0, &mut values).expect("reads");
            values
        })
        .collect();
    (0..planes[0].len())
        .flat_map(|i| planes.iter().map(move |p| f64::from(p[i])))
        .collect()
}

fn expected(case: &Case) -> Vec<f64> {
    let path = folder().join(&case.expected);
    if path.extension().is_some_and(|ending| ending == "f32") {
        let bytes = std::fs::read(path).expect("reads");
        bytes
            .as_chunks::<4>()
            .0
            .iter()
            .map(|four| f64::from(f32::from_le_bytes(*four)))
            .collect()
    } else {
        samples(&path)
    }
}

#[test]
fn every_case_matches_the_independent_reference() {
    let manifest = std::fs::read_to_string(folder().join("manifest.toml")).expect("manifest");
    let manifest: Manifest = toml::from_str(&manifest).expect("manifest");
    assert!(manifest.case.len() >= 15, "the manifest lost cases");
    let scratch = tempfile::tempdir().expect("folder");
    let mut failures = Vec::new();
    for case in &manifest.case {
        let recipe = std::fs::read_to_string(folder().join(&case.recipe)).expect("recipe");
        let depth: Depth = case.depth.parse().expect("depth");
        let out = scratch.path().join(format!("{}.tif", case.name));
        let request = Request {
            recipe: text::parse(&recipe, &case.recipe).expect("sound"),
            folder: folder(),
            rendition: Some(case.rendition.clone()),
            out: out.clone(),
            space: case.space.parse().expect("space"),
            depth: Some(depth),
            options: Options::default(),
            memory: DEFAULT_MEMORY,
            long_edge: None,
            askable: None,
        };
        let control = Control {
            progress: &Silent,
            cancel: &AtomicBool::new(false),
        };
        compose::run(&request, control).expect("composes");
        let (ours, theirs) = (samples(&out), expected(case));
        assert_eq!(ours.len(), theirs.len(), "{}", case.name);
        let differences: Vec<f64> = ours
            .iter()
            .zip(&theirs)
            .map(|(a, b)| (a - b).abs())
            .collect();
        let largest = differences.iter().copied().fold(0.0, f64::max);
        let differing = differences.iter().filter(|d| **d != 0.0).count() as f64;
        let share = differing / differences.len() as f64;
        println!(
            "{:<24} largest {largest:e}, {:.3} % differ",
            case.name,
            share * 100.0
        );
        if largest > case.tolerance || case.most_differing.is_some_and(|most| share > most) {
            failures.push(format!("{}: largest {largest}, {share} differ", case.name));
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}
