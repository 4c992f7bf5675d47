//! Draft, compose and verify go round, whatever the names.

use std::fs;

use crate::stacks::{Bench, listing, stack};
use crate::support::{record_of, sha256};

#[test]
fn draft_compose_and_verify_go_round() {
    let bench = Bench::new();
    let said = bench.run(
        0,
        &[
            "draft",
            "ha.fits",
            "oiii.fits",
            "sii.fits",
            "-o",
            "new.toml",
        ],
    );
    assert!(said.out.starts_with("new.toml\n"), "{}", said.out);
    assert!(
        said.out.contains("renditions: mapped, natural"),
        "{}",
        said.out
    );
    assert!(said.err.is_empty(), "{}", said.err);
    let said = bench.run(0, &["compose", "new.toml", "-o", "lantern.tif"]);
    assert!(
        said.out.contains("lantern.tif  200 x 150, sRGB, 16 bit"),
        "{}",
        said.out
    );
    assert!(said.out.contains("lantern.tif.record.json"), "{}", said.out);
    let said = bench.run(0, &["verify", "lantern.tif.record.json"]);
    assert!(said.out.ends_with("The record holds.\n"), "{}", said.out);
    assert_eq!(said.out.lines().count(), 7, "{}", said.out);
    let names: Vec<String> = listing(bench.folder.path())
        .into_iter()
        .map(|n| n.0)
        .collect();
    assert_eq!(
        names,
        [
            "ha.fits",
            "lantern.tif",
            "lantern.tif.record.json",
            "lantern.toml",
            "new.toml",
            "oiii.fits",
            "sii.fits"
        ]
    );
}

#[test]
fn names_may_be_anything() {
    let names = [
        "stack of the night (1).fits",
        "lantern[2]{a}.fits",
        "h\u{3b1} \u{2605} \u{e9}toile.fits",
        "-ha.fits",
        "a+b&c;d'e\"f.fits",
        "#1 = %20 ~ $HOME.fits",
        "x.fits.gz.tif",
        "ends with a dot.",
        "[O III].fits[1]",
        "!clobber.fits",
        "mem://x",
    ];
    let bench = Bench::new();
    fs::create_dir_all(bench.at("mem:")).expect("a folder");
    fs::create_dir(bench.at("all out [1] \u{3b1}")).expect("a folder");
    for (index, name) in names.iter().enumerate() {
        bench.file(name, &stack("Ha", index as u64));
        let place = format!("./{name}");
        let base = name.rsplit('/').next().expect("a name");
        let line = format!("--line={base}=OIII");
        let recipe = format!("all out [1] \u{3b1}/-{index}.toml");
        let said = bench.run(0, &["draft", &place, "-o", &recipe, &line]);
        assert!(said.out.contains("named on the command line"));
        let out = format!("all out [1] \u{3b1}/{index} (+) \u{e9}.png");
        bench.run(0, &["compose", &recipe, "-o", &out]);
        let record = format!("{out}.record.json");
        bench.run(0, &["verify", &record]);
        let made = record_of(&bench, &out);
        assert_eq!(
            made["inputs"][0]["file"],
            format!("../{}", name.replace("//", "/")),
            "{name}"
        );
        assert_eq!(
            made["inputs"][0]["sha256"],
            sha256(&bench.at(name)),
            "{name}"
        );
    }
    let said = bench.run(0, &["inspect", "--", "-ha.fits"]);
    assert!(said.out.starts_with("-ha.fits\n"), "{}", said.out);
}

#[test]
fn a_draft_says_which_channels_no_rendition_uses() {
    let bench = Bench::new();
    bench.file("g.fits", &stack("G", 5));
    let said = bench.run(
        0,
        &["draft", "ha.fits", "oiii.fits", "g.fits", "-o", "new.toml"],
    );
    assert!(
        said.err.contains("g ") && said.err.contains("no rendition"),
        "{}",
        said.err
    );
}

#[cfg(unix)]
#[test]
fn links_keep_their_names() {
    let bench = Bench::new();
    fs::create_dir(bench.at("store")).expect("a folder");
    fs::rename(bench.at("ha.fits"), bench.at("store/0f3a77")).expect("moved");
    std::os::unix::fs::symlink("store/0f3a77", bench.at("ha.fits")).expect("a link");
    bench.run(0, &["draft", "ha.fits", "-o", "new.toml"]);
    let text = fs::read_to_string(bench.at("new.toml")).expect("there");
    assert!(text.contains("file = \"ha.fits\""), "{text}");
    bench.run(0, &["compose", "new.toml", "-o", "a.png"]);
    assert_eq!(record_of(&bench, "a.png")["inputs"][0]["file"], "ha.fits");
    bench.run(0, &["verify", "a.png.record.json"]);
}
