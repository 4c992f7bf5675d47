//! Palettes of one's own.

use std::fs;

use crate::stacks::Bench;

#[test]
fn palettes_of_ones_own_are_found_and_used() {
    let bench = Bench::new();
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    let own = "palette = 1\nname = \"quay\"\n[colors]\nHa = \"#e0603a\"\nOIII = { hue = 230 }\n";
    bench.file("settings/linehue/palettes/quay.toml", own.as_bytes());
    let said = bench.run(0, &["palettes"]);
    assert!(said.out.contains("quay  (yours)"), "{}", said.out);
    bench.run(
        0,
        &[
            "draft",
            "ha.fits",
            "oiii.fits",
            "-o",
            "q.toml",
            "--palette",
            "Quay",
        ],
    );
    let text = fs::read_to_string(bench.at("q.toml")).expect("there");
    assert!(text.contains("#e0603a") && text.contains("230"), "{text}");
    let said = bench.run(
        2,
        &["draft", "ha.fits", "-o", "r.toml", "--palette", "quai"],
    );
    assert!(said.err.contains("quay"), "{}", said.err);
    assert!(!bench.at("r.toml").exists());
}
