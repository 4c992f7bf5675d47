//! Pipes, and files that cannot be written.

use std::fs;
use std::process::{Command, Stdio};

use crate::stacks;
use crate::stacks::Bench;

fn start(bench: &Bench, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_linehue"));
    command.current_dir(bench.folder.path()).args(arguments);
    command
}

// A pipe whose reader has gone away.
fn closed() -> Stdio {
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    writer.into()
}

#[test]
fn a_reader_that_went_away_is_no_fault() {
    let bench = Bench::new();
    for arguments in [
        &["palettes"][..],
        &["completions", "bash"],
        &["inspect", "ha.fits", "--json"],
        &["compose", "lantern.toml", "-o", "a.tif"],
        &["--help"],
    ] {
        let output = start(&bench, arguments)
            .stdout(closed())
            .stderr(Stdio::piped())
            .output()
            .expect("starts");
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {err}");
        assert!(err.is_empty(), "{arguments:?}: {err}");
    }
}

#[test]
fn a_closed_error_stream_does_not_change_the_exit_code() {
    let bench = Bench::new();
    let run = |arguments: &[&str]| {
        start(&bench, arguments)
            .stdout(Stdio::null())
            .stderr(closed())
            .status()
            .expect("starts")
            .code()
    };
    assert_eq!(run(&["inspect", "missing.fits"]), Some(2));
    assert_eq!(run(&["compose", "lantern.toml", "-o", "a.xyz"]), Some(2));
    fs::create_dir_all(bench.at("settings/linehue/palettes")).expect("a folder");
    bench.file("settings/linehue/palettes/a.toml", b"palette = 9");
    let status = start(&bench, &["palettes"])
        .env("XDG_CONFIG_HOME", bench.at("settings"))
        .stdout(Stdio::null())
        .stderr(closed())
        .status()
        .expect("starts");
    assert_eq!(status.code(), Some(0));
}

#[test]
fn a_full_standard_output_is_told() {
    let Ok(full) = fs::OpenOptions::new().write(true).open("/dev/full") else {
        println!("skipped: no /dev/full here");
        return;
    };
    let bench = Bench::new();
    let output = start(&bench, &["palettes"])
        .stdout(full)
        .stderr(Stdio::piped())
        .output()
        .expect("starts");
    let err = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("standard output"), "{err}");
}

#[test]
fn a_recipe_may_come_through_a_pipe() {
    let bench = Bench::new();
    let arguments = ["compose", "/dev/stdin", "-o", "a.png"];
    let absolute = stacks::RECIPE.replace(
        "file = \"",
        &format!("file = \"{}/", bench.folder.path().display()),
    );
    let mut command = bench.linehue(&arguments);
    stacks::spoken(command.write_stdin(absolute), 0, "a recipe in a pipe");
    bench.run(0, &["verify", "a.png.record.json"]);
}
