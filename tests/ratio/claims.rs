//! What a record says of a map, and is not so.

use std::fs;

use serde_json::{Value, json};

use super::json as parsed;
use super::{sample, stacks};

/// Protects that a record does not hold once any figure, threshold, level or
/// size in it was changed, and that it is named.
#[test]
fn whatever_is_changed_in_a_record_is_told() {
    let bench = stacks::Bench::new();
    sample(&bench);
    bench.run(0, &["ratio", "sample.toml", "sii/ha", "-o", "map.fits"]);
    let name = "map.fits.ratio.json";
    let record = fs::read_to_string(bench.at(name)).expect("a record");
    let change = |changes: &[(&str, Value)]| {
        let mut edited = parsed(&record);
        for (place, value) in changes {
            *edited.pointer_mut(place).expect(place) = value.clone();
        }
        bench.file(name, edited.to_string().as_bytes());
    };
    let all = [
        ("/over/sky", json!(1e6)),
        ("/over/sky_error", json!(0.5)),
        ("/under/noise", json!(0.001)),
        ("/under/full", json!(1)),
        ("/over/line", json!("OIII")),
        ("/figures/pixels", json!(9)),
        ("/figures/data_px", json!(8)),
        ("/figures/known_px", json!(7)),
        ("/figures/over_alone_px", json!(6)),
        ("/figures/median", json!(9.0)),
        ("/criterion/mark", json!(0.2)),
        ("/criterion/reading", json!("ionised by a shock")),
        ("/criterion/above", Value::Null),
        ("/calibration", json!("absolute")),
        ("/map/width", json!(5)),
        ("/map/part", json!([0, 0, 5, 5])),
        ("/scale/low", json!(0.77)),
        ("/scale/runs", json!("log")),
        ("/caveats", json!([])),
        ("/notices", json!(["all is well"])),
    ];
    change(&all);
    let said = bench.run(1, &["verify", name]).out;
    assert!(said.contains("ok   ratios"), "{said}");
    assert!(said.contains("NOT  words, figures"), "{said}");
    for (place, _) in &all {
        let place = place[1..].replace('/', ".");
        assert!(said.contains(&place), "{place}: {said}");
    }
    // One alone is enough.
    change(&[("/under/noise", json!(0.001))]);
    let said = bench.run(1, &["verify", name]).out;
    assert!(said.contains("otherwise: under.noise\n"), "{said}");
    // The same numbers may be written otherwise.
    let pixels = parsed(&record)["figures"]["pixels"].as_f64();
    change(&[("/figures/pixels", json!(pixels))]);
    bench.run(0, &["verify", name]);
}
