//! Pages in Chromium, driven through its DevTools pipe by `browser.mjs`: what an
//! accessibility checker finds, and what keys, mouse and touch do.
//!
//! Needs Chromium, Node, and the checker in `target/page-tests`, where
//! `npm ci` puts it (see `.ci/run`). Without them the test says so and passes,
//! unless LINEHUE_PAGE_TESTS=insist.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use super::stacks::Bench;
use super::{alone, composed, hostile, text};

fn program(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let mut places = names
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    places.find(|place| place.is_file())
}

// What a page is in the browser; None where there is none.
fn opened(page: &Path) -> Option<Value> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let axe = root.join("target/page-tests/node_modules/axe-core/axe.min.js");
    let chromium = program(&["chromium", "chromium-browser"]);
    let node = program(&["node", "nodejs"]);
    let (Some(chromium), Some(node), true) = (chromium, node, axe.is_file()) else {
        let insist = std::env::var("LINEHUE_PAGE_TESTS").is_ok_and(|value| value == "insist");
        let missing = "Chromium, Node or target/page-tests/node_modules/axe-core is missing";
        assert!(!insist, "{missing}");
        eprintln!("skipped: {missing}");
        return None;
    };
    let mut command = Command::new(node);
    command
        .arg(root.join("tests/page/browser.mjs"))
        .args([&chromium, page, &axe]);
    // To look at: a folder for screenshots.
    if let Some(pictures) = std::env::var_os("LINEHUE_PAGE_PICTURES") {
        fs::create_dir_all(&pictures).expect("a folder");
        command.arg(pictures);
    }
    let output = command.output().expect("Node starts");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    Some(serde_json::from_slice(&output.stdout).expect("JSON"))
}

// Light and dark, wide and as narrow as a telephone.
fn is_sound(told: &Value, scripts: u64) {
    let looks = told["looks"].as_array().expect("looks");
    assert_eq!(looks.len(), 4);
    for look in looks {
        let which = format!("{} dark {}", look["width"], look["dark"]);
        assert_eq!(look["violations"], serde_json::json!([]), "{which}");
        let passes = look["passes"].as_array().expect("rules");
        for rule in [
            "color-contrast",
            "image-alt",
            "document-title",
            "html-has-lang",
        ] {
            assert!(
                passes.contains(&rule.into()),
                "{rule} was not looked at: {which}"
            );
        }
        assert_eq!(look["overflow"], 0, "it scrolls sideways: {which}");
        assert_eq!(look["complaints"], serde_json::json!([]), "{which}");
        assert_eq!(look["scripts"], scripts, "{which}");
        for address in look["asked"].as_array().expect("addresses") {
            let address = address.as_str().expect("words");
            assert!(
                address.starts_with("file:") || address.starts_with("data:"),
                "{address}"
            );
        }
    }
}

fn is_alive(told: &Value) {
    let hands = &told["hands"];
    let value = |when: &str| hands[when]["value"].as_f64().expect("a number");
    let start = &hands["start"];
    assert_eq!(start["complete"], true, "pictures are shown");
    assert_eq!(start["control"], true);
    assert_eq!(
        start["pictures"][0], start["pictures"][1],
        "one lies upon the other"
    );
    assert_eq!(hands["focused"]["focused"], true, "Tab reaches the slider");
    assert_eq!(
        hands["focused"]["outline"], "solid",
        "and the focus is seen"
    );
    assert_eq!(value("right"), 53.0);
    assert_eq!(hands["right"]["clip"], "inset(0px 0px 0px 53%)");
    assert_eq!(
        hands["right"]["words"],
        "53 % mapped colour, 47 % natural colour"
    );
    assert_eq!(
        (value("left"), value("home"), value("end")),
        (43.0, 0.0, 100.0)
    );
    assert_eq!(value("dragged"), 25.0, "the mouse pulls the edge");
    assert_eq!(hands["dragged"]["clip"], "inset(0px 0px 0px 25%)");
    assert_eq!(value("after"), 25.0, "and lets it go");
    assert_eq!(value("touched"), 80.0, "a finger pulls it as well");
    assert_eq!(
        start["transition"], "0s",
        "nothing moves where that is not wished for"
    );
    assert_ne!(hands["moving"]["transition"], "0s");
    for way in ["without", "printed"] {
        let told = &told[way];
        assert_eq!(told["control"], false, "no dead control: {way}");
        assert_eq!(told["divider"], false, "{way}");
        assert_eq!(told["complete"], true, "{way}");
        let [left, right] = [0, 1].map(|i| told["pictures"][i].clone());
        assert_eq!(
            (&left["top"], &told["clip"]),
            (&right["top"], &"none".into()),
            "{way}"
        );
        let edge = left["left"].as_f64().expect("px") + left["width"].as_f64().expect("px");
        assert!(
            edge <= right["left"].as_f64().expect("px"),
            "side by side: {way}"
        );
    }
}

#[test]
fn a_page_can_be_used_by_everyone() {
    let bench = composed();
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    if let Some(told) = opened(&bench.at("out/index.html")) {
        is_sound(&told, 1);
        is_alive(&told);
    }
}

#[test]
fn so_can_one_of_a_single_file() {
    let bench = composed();
    bench.run(0, &["page", "a.tif.record.json", "-o", "out.html"]);
    if let Some(told) = opened(&bench.at("out.html")) {
        is_sound(&told, 1);
        is_alive(&told);
    }
}

#[test]
fn one_rendition_alone_has_no_control() {
    let bench: Bench = composed();
    alone(&bench);
    bench.run(0, &["page", "a.tif.record.json", "-o", "out"]);
    if let Some(told) = opened(&bench.at("out/index.html")) {
        is_sound(&told, 0);
    }
}

#[test]
fn hostile_names_are_words_to_the_browser() {
    let bench = hostile();
    let title = text(&bench.at("out/page.json"));
    let list: Value = serde_json::from_str(&title).expect("JSON");
    if let Some(told) = opened(&bench.at("out/index.html")) {
        is_sound(&told, 1);
        assert_eq!(told["looks"][0]["heading"], list["title"]);
        assert_eq!(told["looks"][0]["images"], 2);
    }
}
