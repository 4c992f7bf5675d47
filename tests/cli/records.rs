//! What a record and the tags of its composite say.

use std::fs;
use std::path::Path;

use linehue::io::record;

use crate::stacks::Bench;
use crate::support::{json, record_of};

#[test]
fn a_record_follows_its_schema() {
    let asset = Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/record.schema.json");
    let schema = record::schema();
    let text = format!(
        "{}\n",
        serde_json::to_string_pretty(&schema).expect("writes")
    );
    // Run with `LINEHUE_UPDATE_ASSETS=1` to write the schema anew.
    if std::env::var_os("LINEHUE_UPDATE_ASSETS").is_some() {
        fs::write(&asset, &text).expect("written");
    }
    let published = fs::read_to_string(&asset).expect("assets/record.schema.json");
    assert!(
        published == text,
        "assets/record.schema.json is out of date: run the tests once with LINEHUE_UPDATE_ASSETS=1"
    );
    let validator = jsonschema::validator_for(&json(&published)).expect("a schema");
    let bench = Bench::new();
    for (out, rendition) in [("a.tif", "mapped"), ("b.fits", "pair")] {
        let arguments = [
            "compose",
            "lantern.toml",
            "-o",
            out,
            "--rendition",
            rendition,
        ];
        bench.run(0, &arguments);
        let mut made = record_of(&bench, out);
        let errors: Vec<String> = validator
            .iter_errors(&made)
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{errors:#?}");
        made["recipe"]["channel"][0]["stretch"]["shape"] = "wavy".into();
        assert!(!validator.is_valid(&made));
    }
}

#[test]
fn a_record_says_what_was_done() {
    let bench = Bench::new();
    bench.run(0, &["compose", "lantern.toml", "-o", "a.tif"]);
    let made = record_of(&bench, "a.tif");
    assert_eq!(made["record"], 1);
    assert_eq!(made["composite"]["file"], "a.tif");
    assert_eq!(made["integration_s"], 36000.0);
    assert_eq!(made["inputs"][1]["header"]["OBJECT"], "Lantern Shell");
    assert_eq!(made["inputs"][1]["file"], "oiii.fits");
    assert_eq!(made["assignments"][2]["line"], "SII");
    assert_eq!(
        made["assignments"][2]["linear_srgb"],
        json("[1.0, 0.1, 0.0]")
    );
    let at = made["made_at"].as_str().expect("text");
    assert!(at.len() == 20 && at.ends_with('Z'), "{at}");
    let recipe = record::read(&bench.at("a.tif.record.json"))
        .expect("holds")
        .recipe;
    let text = fs::read_to_string(bench.at("lantern.toml")).expect("there");
    let parsed = linehue::engine::recipe::text::parse(&text, "test").expect("sound");
    assert_eq!(recipe, parsed);
}

// Items of the list `name` in an XMP packet.
fn listed(xmp: &str, name: &str) -> Vec<String> {
    let document = roxmltree::Document::parse(xmp).expect("XML");
    let list = document
        .descendants()
        .find(|node| node.tag_name().name() == name)
        .unwrap_or_else(|| panic!("no {name} in {xmp}"));
    list.descendants()
        .filter(|node| node.tag_name().name() == "li")
        .map(|node| node.text().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn tags_keep_step_with_the_channels() {
    let bench = Bench::new();
    for name in ["a.tif", "a.png", "a.jpg"] {
        bench.run(0, &["compose", "lantern.toml", "-o", name]);
        let bytes = fs::read(bench.at(name)).expect("there");
        let text = String::from_utf8_lossy(&bytes);
        let start = text.find("<x:xmpmeta").expect("a packet");
        let end = text.find("</x:xmpmeta>").expect("its end") + "</x:xmpmeta>".len();
        let xmp = &text[start..end];
        let made = record_of(&bench, name);
        let words: Vec<String> = made["assignments"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|entry| entry["color_name"].as_str().expect("text").to_owned())
            .collect();
        assert_eq!(listed(xmp, "Spectral.ColorAssignment"), words, "{name}");
        assert_eq!(
            listed(xmp, "Spectral.CentralWavelength").len(),
            3,
            "{name}: one entry for each channel"
        );
        assert_eq!(listed(xmp, "title"), ["Lantern Shell in three lines"]);
        assert!(xmp.contains("Spatial.ReferenceValue"), "{name}");
    }
}
