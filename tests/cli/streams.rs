//! What goes to which stream, and how the program answers scripts.

use std::fs;

use crate::stacks;
use crate::stacks::Bench;
use crate::support::{json, record_of};

#[test]
fn outputs_for_programs_are_json() {
    let bench = Bench::new();
    let reports = json(
        &bench
            .run(0, &["inspect", "ha.fits", "sii.fits", "--json"])
            .out,
    );
    assert_eq!(reports.as_array().map(Vec::len), Some(2));
    let record = json(
        &bench
            .run(0, &["compose", "lantern.toml", "-o", "a.tif", "--json"])
            .out,
    );
    assert_eq!(record, record_of(&bench, "a.tif"));
    let verdict = json(&bench.run(0, &["verify", "a.tif.record.json", "--json"]).out);
    assert_eq!(verdict["holds"], true);
    let palettes = json(&bench.run(0, &["palettes", "--json"]).out);
    assert!(palettes.as_array().is_some_and(|list| list.len() > 5));
    // One bad file among good ones: the good are told, the exit code is not 0.
    let said = bench.run(2, &["inspect", "ha.fits", "missing.fits", "--json"]);
    assert_eq!(json(&said.out).as_array().map(Vec::len), Some(1));
    assert!(said.err.contains("missing.fits"), "{}", said.err);
}

#[test]
fn quiet_leaves_results_and_errors() {
    let bench = Bench::new();
    let broken = "palette = 1\nname = \"dusk\"\ncolours = 1\n";
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    bench.file("settings/linehue/palettes/dusk.toml", broken.as_bytes());
    let loud = bench.run(0, &["palettes"]);
    assert!(
        loud.err.contains("note:") && loud.err.contains("dusk.toml"),
        "{}",
        loud.err
    );
    let quiet = bench.run(0, &["palettes", "--quiet"]);
    assert!(quiet.err.is_empty(), "{}", quiet.err);
    assert_eq!(quiet.out, loud.out);
    let said = bench.run(2, &["-q", "inspect", "missing.fits"]);
    assert!(said.err.contains("missing.fits"));
}

#[test]
fn no_colors_where_nobody_would_see_them() {
    let bench = Bench::new();
    let plain = bench.run(0, &["palettes"]);
    assert!(!plain.out.contains('\u{1b}'));
    let mut command = bench.linehue(&["palettes"]);
    let said = stacks::spoken(command.env("NO_COLOR", "1"), 0, "NO_COLOR");
    assert_eq!(said.out, plain.out);
}

#[test]
fn without_a_command_and_a_display_the_commands_are_named() {
    let bench = Bench::new();
    let said = bench.run(2, &[]);
    assert!(said.err.contains("no display"), "{}", said.err);
    for command in [
        "inspect",
        "draft",
        "compose",
        "verify",
        "palettes",
        "completions",
    ] {
        assert!(said.err.contains(command), "{command}: {}", said.err);
        let help = bench.run(0, &[command, "--help"]);
        assert!(help.out.contains("Example"), "{command}: {}", help.out);
    }
    let help = bench.run(0, &["--help"]);
    assert!(help.out.contains("Exit codes"), "{}", help.out);
    let version = bench.run(0, &["--version"]);
    assert_eq!(
        version.out,
        format!("linehue {}\n", env!("CARGO_PKG_VERSION"))
    );
    let wrong = bench.run(2, &["compsoe", "lantern.toml"]);
    assert!(wrong.err.contains("compsoe"), "{}", wrong.err);
    bench.refused(&["ha.fits", "inspect", "sii.fits"], &["`inspect`"]);
    let wrong = bench.run(2, &["compose", "lantern.toml"]);
    assert!(wrong.err.contains("--output"), "{}", wrong.err);
}

#[test]
fn completions_for_every_shell() {
    let bench = Bench::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = bench.run(0, &["completions", shell]).out;
        for word in ["compose", "rendition", "verify"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
    }
}
