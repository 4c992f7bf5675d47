//! Noise alone, and where there is no field at all.
//!
//! Protects that no criterion is read into chance, and that what a frame did
//! not reach is counted as nothing.

use std::fs;

use super::stacks::{Bench, fits, shell};
use super::{json, open, values};

const WIDE: usize = 400;
const HIGH: usize = 300;

// Sky and Gaussian noise (Box & Muller 1958 on SplitMix64); `smooth` lets 3 x 3
// pixels share theirs, as in a resampled stack.
fn noise(seed: u64, smooth: bool) -> Vec<f32> {
    let mut state = seed;
    let mut uniform = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    };
    let wide = WIDE + 2;
    let grain: Vec<f64> = (0..wide * (HIGH + 2))
        .map(|_| {
            let radius = (-2.0 * libm::log(uniform())).sqrt();
            radius * libm::cos(std::f64::consts::TAU * uniform())
        })
        .collect();
    let mut values = Vec::with_capacity(WIDE * HIGH);
    for y in 0..HIGH {
        for x in 0..WIDE {
            let at = |dx: usize, dy: usize| grain[(y + dy) * wide + x + dx];
            let own = match smooth {
                true => (0..9).map(|k| at(k % 3, k / 3)).sum::<f64>() / 3.0,
                false => at(0, 0),
            };
            values.push((500.0 + 8.0 * own) as f32);
        }
    }
    values
}

// Two stacks of noise as those of [S II] and H-alpha.
fn noisy(bench: &Bench, seed: u64, smooth: bool) {
    for (index, name) in ["sii", "ha", "oiii"].into_iter().enumerate() {
        let values = noise(10 * seed + index as u64, smooth);
        let cards = [format!("FILTER  = '{name}'")];
        let cards: Vec<&str> = cards.iter().map(String::as_str).collect();
        bench.file(&format!("{name}.fits"), &fits(WIDE, HIGH, &values, &cards));
    }
}

#[test]
fn noise_alone_meets_no_criterion() {
    let bench = Bench::new();
    for (seed, smooth, more) in [
        (1, false, &["--min-snr", "2"][..]),
        (2, false, &["--min-snr", "1"]),
        (3, false, &["--min-snr", "2", "--bin", "2"]),
        (4, true, &["--min-snr", "2"]),
        (5, true, &["--min-snr", "1.5"]),
    ] {
        noisy(&bench, seed, smooth);
        let arguments = ["ratio", "lantern.toml", "sii/ha", "-o", "map.png", "--json"];
        let told = json(&bench.run(0, &[&arguments[..], more].concat()).out);
        let known = told["known_px"].as_u64().expect("a number");
        assert!(known > 0, "{seed}: nothing to mistake");
        assert_eq!(told["stands_out"], false, "{seed}: {told}");
        assert!(told["above"].is_null(), "{told}");
        let words = told["words"].to_string();
        assert!(
            words.contains("no emission stands above the noise"),
            "{words}"
        );
        let record = fs::read_to_string(bench.at("map.png.ratio.json")).expect("a record");
        for length in ["short", "long", "alt"] {
            let arguments = ["caption", "map.png.ratio.json", "--length", length];
            let words = bench.run(0, &arguments).out;
            assert!(
                words.contains("no emission stands above the noise"),
                "{words}"
            );
            for word in ["shock", "Mathewson", "median"] {
                assert!(!words.contains(word), "{word}: {words}");
            }
        }
        assert!(json(&record)["criterion"]["above"].is_null(), "{record}");
        bench.run(0, &["verify", "map.png.ratio.json"]);
    }
}

/// A small bright knot in such noise is light.
#[test]
fn a_knot_stands_out_of_the_same_noise() {
    let bench = Bench::new();
    noisy(&bench, 6, false);
    for name in ["sii", "ha"] {
        let seed = if name == "sii" { 60 } else { 61 };
        let mut values = noise(seed, false);
        for y in 100..105 {
            values[y * WIDE + 200..y * WIDE + 205].fill(700.0);
        }
        bench.file(&format!("{name}.fits"), &fits(WIDE, HIGH, &values, &[]));
    }
    let arguments = ["ratio", "lantern.toml", "sii/ha", "-o", "map.png", "--json"];
    let told = json(&bench.run(0, &arguments).out);
    assert_eq!(told["stands_out"], true, "{told}");
    assert!(told["words"].to_string().contains("0.4"), "{told}");
}

/// Zeros and missing pixels at the border, as stacking and aligning leave them,
/// are alike no field.
#[test]
fn a_border_without_data_is_no_field() {
    let bench = Bench::new();
    let (wide, high) = (200, 150);
    let mut told = Vec::new();
    for border in [0.0, f32::NAN] {
        for (seed, name) in [(0, "ha"), (1, "oiii"), (2, "sii")] {
            let mut values = shell(wide, high, seed);
            for (index, value) in values.iter_mut().enumerate() {
                let (x, y) = (index % wide, index / wide);
                if !(12..190).contains(&x) || !(7..145).contains(&y) {
                    *value = border;
                }
            }
            bench.file(&format!("{name}.fits"), &fits(wide, high, &values, &[]));
        }
        let arguments = [
            "ratio",
            "lantern.toml",
            "sii/ha",
            "-o",
            "map.fits",
            "--json",
        ];
        let one = json(&bench.run(0, &arguments).out);
        assert_eq!(one["data_px"], 178 * 138, "{border}: {one}");
        let ratios = values(&open(&bench.at("map.fits"), 0));
        assert!(ratios[75 * wide].is_nan());
        told.push(one);
    }
    for figure in ["known_px", "median", "known", "over_alone_px"] {
        assert_eq!(told[0][figure], told[1][figure], "{figure}");
    }
}
