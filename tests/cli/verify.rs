//! A record holds, and every change is noticed.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::stacks;
use crate::stacks::{Bench, stack};
use crate::support::{check, composed, record_of, verdict};

#[test]
fn a_changed_input_is_noticed() {
    let bench = composed("a.png");
    bench.file("oiii.fits", &stack("OIII", 9));
    let verdict = verdict(&bench, 1, "a.png.record.json", &[]);
    assert_eq!(check(&verdict, "input oiii")["holds"], false);
    assert_eq!(check(&verdict, "input ha")["holds"], true);
    assert_eq!(check(&verdict, "composite")["holds"], true);
    assert_eq!(check(&verdict, "pixels")["holds"], false);
    let said = bench.run(1, &["verify", "a.png.record.json"]);
    assert!(
        said.out.ends_with("The record does not hold.\n"),
        "{}",
        said.out
    );
}

#[test]
fn a_missing_input_is_noticed_and_found_elsewhere() {
    let bench = composed("a.png");
    fs::create_dir(bench.at("archive")).expect("a folder");
    fs::rename(bench.at("sii.fits"), bench.at("archive/sii.fits")).expect("moved");
    let without = verdict(&bench, 1, "a.png.record.json", &[]);
    let detail = check(&without, "input sii")["detail"]
        .as_str()
        .expect("text");
    assert!(detail.contains("--inputs"), "{detail}");
    assert_eq!(check(&without, "pixels")["holds"], false);
    verdict(&bench, 0, "a.png.record.json", &["--inputs", "archive"]);
}

#[test]
fn changes_of_a_composite_are_told_apart() {
    for name in ["a.png", "a.tif"] {
        let bench = composed(name);
        let record = format!("{name}.record.json");
        let path = bench.at(name);
        let sound = fs::read(&path).expect("there");
        // Another word in the tags, as long as the one before.
        let word = b"Lantern Shell in three lines";
        let mut tagged = sound.clone();
        let places: Vec<usize> = (0..tagged.len() - word.len())
            .filter(|at| tagged[*at..].starts_with(word))
            .collect();
        assert!(!places.is_empty(), "{name}");
        for at in places {
            tagged[at] = b'l';
        }
        if name == "a.png" {
            tagged = mend_crcs(tagged);
        }
        fs::write(&path, &tagged).expect("written");
        let tags = verdict(&bench, 1, &record, &[]);
        let detail = &check(&tags, "composite")["detail"];
        assert_eq!(
            detail, "the file was changed, its pixels were not",
            "{name}"
        );
        assert_eq!(check(&tags, "pixels")["holds"], true);
        // Another picture of the same kind.
        bench.run(
            0,
            &[
                "compose",
                "lantern.toml",
                "-o",
                "b.png",
                "--rendition",
                "pair",
            ],
        );
        let other = format!("other{}", &name[1..]);
        bench.run(
            0,
            &[
                "compose",
                "lantern.toml",
                "-o",
                &other,
                "--rendition",
                "pair",
            ],
        );
        fs::copy(bench.at(&other), &path).expect("copied");
        let pixels = verdict(&bench, 1, &record, &[]);
        assert_eq!(
            check(&pixels, "composite")["detail"],
            "its pixels were changed",
            "{name}"
        );
        // Something else altogether, and nothing.
        fs::write(&path, b"not a picture").expect("written");
        let rubbish = verdict(&bench, 1, &record, &[]);
        assert_eq!(check(&rubbish, "composite")["holds"], false);
        fs::remove_file(&path).expect("removed");
        let missing = verdict(&bench, 1, &record, &[]);
        let detail = check(&missing, "composite")["detail"]
            .as_str()
            .expect("text");
        assert!(detail.contains("missing"), "{detail}");
    }
}

// Chunk checks of a PNG, worked out again (PNG third edition, annex D).
fn mend_crcs(mut bytes: Vec<u8>) -> Vec<u8> {
    let mut at = 8;
    while at + 12 <= bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().expect("four")) as usize;
        let mut crc = u32::MAX;
        for byte in &bytes[at + 4..at + 8 + length] {
            crc ^= u32::from(*byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 {
                    0xedb8_8320 ^ (crc >> 1)
                } else {
                    crc >> 1
                };
            }
        }
        bytes[at + 8 + length..at + 12 + length].copy_from_slice(&(!crc).to_be_bytes());
        at += 12 + length;
    }
    bytes
}

#[test]
fn a_composite_of_light_is_compared_by_its_samples_too() {
    for name in ["a.fits", "a.tif"] {
        let bench = Bench::new();
        bench.run(
            0,
            &["compose", "lantern.toml", "-o", name, "--depth", "32f"],
        );
        let path = bench.at(name);
        let mut bytes = fs::read(&path).expect("there");
        let word = b"Linehue";
        let at = (0..bytes.len() - word.len())
            .find(|at| bytes[*at..].starts_with(word))
            .expect("the program's name");
        bytes[at] = b'l';
        fs::write(&path, &bytes).expect("written");
        let changed = verdict(&bench, 1, &format!("{name}.record.json"), &[]);
        assert_eq!(
            check(&changed, "composite")["detail"],
            "the file was changed, its pixels were not",
            "{name}"
        );
    }
}

#[test]
fn a_record_of_a_later_format_is_refused() {
    let bench = composed("a.png");
    let mut made = record_of(&bench, "a.png");
    made["record"] = 2.into();
    made["news"] = true.into();
    bench.file("newer.json", made.to_string().as_bytes());
    bench.refused(
        &["verify", "newer.json"],
        &["newer.json", "version 2", "newer Linehue"],
    );
    bench.refused(&["verify", "missing.json"], &["missing.json"]);
    bench.refused(
        &["verify", "lantern.toml"],
        &["lantern.toml", ".record.json"],
    );
    bench.refused(&["verify", "a.png"], &["a.png"]);
    bench.refused(&["verify", "."], &["."]);
}

#[test]
fn a_moved_folder_still_verifies() {
    let bench = Bench::new();
    fs::create_dir(bench.at("stacks")).expect("a folder");
    for name in ["ha.fits", "oiii.fits", "sii.fits"] {
        fs::rename(bench.at(name), bench.at("stacks").join(name)).expect("moved");
    }
    let text = stacks::RECIPE.replace("file = \"", "file = \"stacks/");
    bench.file("lantern.toml", text.as_bytes());
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let elsewhere = tempfile::tempdir().expect("a folder");
    let new: PathBuf = elsewhere.path().join("moved here");
    copy_folder(bench.folder.path(), &new);
    let record = new.join("a.tif.record.json");
    for name in [
        "stacks/ha.fits",
        "stacks/sii.fits",
        "stacks/oiii.fits",
        "a.tif",
    ] {
        fs::remove_file(bench.at(name)).expect("removed");
    }
    bench.run(0, &["verify", &record.to_string_lossy()]);
}

fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir(to).expect("a folder");
    for entry in fs::read_dir(from).expect("the folder is there") {
        let entry = entry.expect("an entry");
        if entry.path().is_dir() {
            copy_folder(&entry.path(), &to.join(entry.file_name()));
        } else {
            fs::copy(entry.path(), to.join(entry.file_name())).expect("copied");
        }
    }
}

#[test]
fn a_reference_that_takes_no_part_does_not_stop_a_record() {
    let bench = Bench::new();
    // `pair` leaves out ha, whose grid it stands on.
    fs::create_dir(bench.at("out")).expect("a folder");
    bench.run(
        0,
        &[
            "compose",
            "lantern.toml",
            "-o",
            "out/a.png",
            "--rendition",
            "pair",
        ],
    );
    let mut command = bench.linehue(&["verify", "a.png.record.json"]);
    let said = stacks::spoken(command.current_dir(bench.at("out")), 0, "from elsewhere");
    assert!(
        said.out.contains("the same to the last bit"),
        "{}",
        said.out
    );
}

#[test]
fn a_record_that_names_no_input_for_a_channel_does_not_hold() {
    let bench = composed("a.png");
    let mut made = record_of(&bench, "a.png");
    made["inputs"].as_array_mut().expect("a list").remove(1);
    bench.file("a.png.record.json", made.to_string().as_bytes());
    let verdict = verdict(&bench, 1, "a.png.record.json", &[]);
    let detail = check(&verdict, "pixels")["detail"].as_str().expect("text");
    assert!(detail.contains("oiii"), "{detail}");
}

// The record with something edited; what the check of its words says then.
fn edited(bench: &Bench, change: impl FnOnce(&mut Value)) -> String {
    let mut record = record_of(bench, "a.png");
    change(&mut record);
    bench.file("edited.record.json", record.to_string().as_bytes());
    let verdict = verdict(bench, 1, "edited.record.json", &[]);
    for sound in ["input ha", "composite", "pixels"] {
        assert_eq!(check(&verdict, sound)["holds"], true, "{verdict}");
    }
    let words = check(&verdict, "words, figures");
    assert_eq!(words["holds"], false, "{verdict}");
    words["detail"].as_str().expect("text").to_owned()
}

/// Captions repeat what a record claims: all of it is worked out again.
#[test]
fn an_edited_claim_is_noticed_and_named() {
    let bench = composed("a.png");
    let sound = verdict(&bench, 0, "a.png.record.json", &[]);
    assert_eq!(check(&sound, "words, figures")["holds"], true);
    let said = edited(&bench, |record| {
        record["assignments"][0]["shown"]["color_name"] = "Magenta".into();
    });
    assert!(
        said.contains("colour of ha") && said.contains("not Magenta"),
        "{said}"
    );
    let said = edited(&bench, |record| {
        record["inputs"][1]["exposure_s"] = 360_000.0.into();
    });
    assert!(
        said.contains("exposure of oiii 12000 s, not 360000 s"),
        "{said}"
    );
    let said = edited(&bench, |record| {
        record["assignments"][2]["name"] = "starlight".into();
    });
    assert!(
        said.contains("line of sii") && said.contains("starlight"),
        "{said}"
    );
    let said = edited(&bench, |record| record["integration_s"] = 9e5.into());
    assert!(said.contains("exposure of all"), "{said}");
    let said = edited(&bench, |record| {
        record["inputs"][0]["header"]["OBJECT"] = "Another Shell".into();
    });
    assert!(said.contains("header of ha: OBJECT"), "{said}");
    let said = edited(&bench, |record| record["inputs"][0]["sky"] = 1.0.into());
    assert!(said.contains("sky of ha"), "{said}");
    let said = edited(&bench, |record| record["seen"]["lightness"] = 0.99.into());
    assert!(said.contains("looks like"), "{said}");
    let said = edited(&bench, |record| {
        record["caption"]["long"] = "Seen with the naked eye.".into();
    });
    assert!(said.contains("the caption"), "{said}");
    let said = edited(&bench, |record| {
        record["crop"] = serde_json::json!([0, 0, 9, 9])
    });
    assert!(said.contains("the part that was kept"), "{said}");
}

/// Colours hang on the recipe alone, and are looked at where an input is gone.
#[test]
fn an_edited_colour_is_noticed_without_the_inputs() {
    let bench = composed("a.png");
    let mut record = record_of(&bench, "a.png");
    record["assignments"][0]["shown"]["color_name"] = "Magenta".into();
    bench.file("a.png.record.json", record.to_string().as_bytes());
    fs::remove_file(bench.at("oiii.fits")).expect("removed");
    let verdict = verdict(&bench, 1, "a.png.record.json", &[]);
    let words = check(&verdict, "words, figures")["detail"]
        .as_str()
        .expect("text");
    assert!(words.contains("colour of ha"), "{words}");
}

#[test]
fn a_folder_of_inputs_that_is_not_there_is_an_error() {
    let bench = composed("a.png");
    bench.run(0, &["ratio", "lantern.toml", "sii/ha", "-o", "map.fits"]);
    for record in ["a.png.record.json", "map.fits.ratio.json"] {
        bench.refused(
            &["verify", record, "--inputs", "nope"],
            &["nope", "no such folder", "--inputs"],
        );
    }
}
