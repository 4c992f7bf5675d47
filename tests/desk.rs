//! What works behind the window: opening, preparing, exporting, stopping.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::mpsc::channel;

use linehue::engine::color::space::Space;
use linehue::engine::frame::{Depth, Plane};
use linehue::engine::recipe::{Crop, Recipe, ShowStars, StarLook, text};
use linehue::io::write::{Format, Options};
use linehue::work::caption;
use linehue::work::compose::{self, DEFAULT_MEMORY};
use linehue::work::desk::{
    Apart, Event, Heights, Job, Layer, Layers, Means, Parts, RowState, Teller, Worker, keys,
};
use linehue::work::estimate::{Sample, Shape, estimate};
use linehue::work::preview::pyramid;
use tempfile::TempDir;

#[expect(dead_code, reason = "shared; the commands' tests use the rest")]
#[path = "support/stacks.rs"]
mod stacks;

fn samples(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-stacks")
        .join(name)
}

fn open(paths: &[PathBuf]) -> Job {
    Job::Open {
        paths: paths.to_vec(),
        onto: None,
        lines: Vec::new(),
    }
}

fn done(job: Job) -> Vec<Event> {
    let mut worker = Worker::inline();
    worker.ask(job);
    let events = worker.events();
    assert!(
        matches!(events.last(), Some(Event::Finished { .. })),
        "the last word is that it is over"
    );
    events
}

fn opened(events: &[Event]) -> (Recipe, PathBuf, Vec<String>) {
    let found = events.iter().find_map(|event| match event {
        Event::Opened {
            recipe,
            folder,
            notices,
            ..
        } => Some(((**recipe).clone(), folder.clone(), notices.clone())),
        _ => None,
    });
    found.unwrap_or_else(|| panic!("nothing was opened: {:#?}", words(events)))
}

fn layers(events: &[Event]) -> Vec<(String, Arc<Layer>)> {
    let mut layers: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Layer { channel, layer, .. } => Some((channel.clone(), layer.clone())),
            _ => None,
        })
        .collect();
    layers.sort_by(|a, b| a.0.cmp(&b.0));
    layers
}

// The last state of each file.
fn rows(events: &[Event]) -> Vec<(String, RowState)> {
    let mut rows: Vec<(String, RowState)> = Vec::new();
    for event in events {
        if let Event::Row { path, state, .. } = event {
            let name = path.file_name().unwrap_or_default();
            let name = name.to_string_lossy().into_owned();
            rows.retain(|(other, _)| *other != name);
            rows.push((name, state.clone()));
        }
    }
    rows
}

fn row(events: &[Event], name: &str) -> RowState {
    let all = rows(events);
    let found = all.iter().find(|(other, _)| other == name);
    found
        .unwrap_or_else(|| panic!("no row {name}: {all:#?}"))
        .1
        .clone()
}

// Events without pixels, for messages.
fn words(events: &[Event]) -> Vec<String> {
    events
        .iter()
        .map(|event| match event {
            Event::Layer { channel, .. } => format!("layer {channel}"),
            other => format!("{other:?}").chars().take(300).collect(),
        })
        .collect()
}

#[test]
fn a_folder_becomes_a_desk_with_stretched_layers() {
    let events = done(open(&[samples("lantern")]));
    let (recipe, folder, _) = opened(&events);
    assert_eq!(recipe.channels.len(), 7);
    assert_eq!(folder, samples("lantern"));
    let names: Vec<&str> = recipe.renditions.iter().map(|r| r.id.as_str()).collect();
    assert_eq!(names, ["mapped", "natural"]);
    let layers = layers(&events);
    assert_eq!(layers.len(), 7);
    let keys = keys(&recipe, &folder);
    for (id, layer) in &layers {
        let index = recipe.channels.iter().position(|c| c.id == *id);
        assert_eq!(layer.key, keys[index.expect("a channel")]);
        assert!(layer.levels.is_some());
        assert!(!layer.reduced.is_empty() || layer.size().width <= 400);
        let at = |wanted: &dyn Fn(&Event) -> bool| events.iter().position(wanted);
        let stretched = at(&|event| {
            matches!(event, Event::Stretched { channel, stretch, .. }
                if channel == id && stretch.white > stretch.black)
        });
        let there = at(&|event| matches!(event, Event::Layer { channel, .. } if channel == id));
        assert!(stretched.is_some() && stretched < there, "{id}");
        assert!(matches!(
            row(&events, &recipe.channels[index.expect("a channel")].file),
            RowState::Taken { channel } if channel == *id
        ));
    }
}

#[test]
fn a_recipe_opens_as_it_is() {
    let path = samples("lantern/lantern.toml");
    let events = done(open(std::slice::from_ref(&path)));
    let (recipe, _, _) = opened(&events);
    let written = std::fs::read_to_string(&path).expect("text");
    assert_eq!(recipe, text::parse(&written, "").expect("holds"));
    assert_eq!(layers(&events).len(), recipe.channels.len());
    assert!(
        !events
            .iter()
            .any(|event| matches!(event, Event::Stretched { .. }))
    );
    assert!(
        events
            .iter()
            .any(|event| matches!(event, Event::Opened { path: Some(own), .. } if *own == path))
    );
}

#[test]
fn a_recipe_with_a_mistake_says_where() {
    let root = TempDir::new().expect("folder");
    let path = root.path().join("bad.toml");
    std::fs::write(&path, "recipe = 1\nchanel = 3\n").expect("file");
    let events = done(open(&[path]));
    let Some(Event::Failed { what, .. }) = events.first() else {
        panic!("{:?}", words(&events))
    };
    assert!(what.contains("line 2") && what.contains("chanel"), "{what}");
}

#[test]
fn what_cannot_be_read_or_told_stays_a_row_and_the_rest_go_on() {
    let root = TempDir::new().expect("folder");
    let at = |name: &str| root.path().join(name);
    let values = stacks::shell(stacks::WIDTH, stacks::HEIGHT, 1);
    let fits = |more: &[&str]| stacks::fits(stacks::WIDTH, stacks::HEIGHT, &values, more);
    std::fs::write(at("good.fits"), fits(&["FILTER  = 'Ha'"])).expect("file");
    std::fs::write(at("mystery.fits"), fits(&[])).expect("file");
    std::fs::write(at("broken.fits"), &fits(&["FILTER  = 'OIII'"])[..9000]).expect("file");
    std::fs::write(at("empty.tif"), b"").expect("file");
    let events = done(open(&[root.path().to_owned()]));
    let (recipe, folder, _) = opened(&events);
    assert_eq!(recipe.channels.len(), 1, "{:#?}", words(&events));
    assert_eq!(layers(&events).len(), 1);
    assert!(
        matches!(row(&events, "empty.tif"), RowState::Failed { what, hint }
        if what.contains("empty") && !hint.is_empty())
    );
    assert!(matches!(
        row(&events, "broken.fits"),
        RowState::Failed { .. }
    ));
    let RowState::NeedsLine { guesses, .. } = row(&events, "mystery.fits") else {
        panic!("{:?}", rows(&events))
    };
    assert_eq!(guesses[..3], ["Ha", "OIII", "SII"]);
    // The user names its line: it joins, and what is there stays as it is.
    let events = done(Job::Open {
        paths: vec![at("mystery.fits"), at("good.fits")],
        onto: Some((recipe.clone(), folder)),
        lines: vec![(at("mystery.fits"), "OIII".to_owned())],
    });
    let (joined, _, notices) = opened(&events);
    assert_eq!(joined.channels.len(), 2);
    assert_eq!(joined.channels[0], recipe.channels[0]);
    assert_eq!(joined.channels[1].line, "OIII");
    assert!(
        notices
            .iter()
            .any(|notice| notice.contains("on the desk already"))
    );
    assert_eq!(layers(&events).len(), 1, "the other is in memory already");
    assert!(text::parse(&text::write(&joined).expect("text"), "").is_ok());
}

#[test]
fn an_empty_folder_and_a_lone_luminance_are_told_and_shown() {
    let root = TempDir::new().expect("folder");
    let events = done(open(&[root.path().to_owned()]));
    assert!(matches!(&events[0], Event::Failed { what, .. } if what.contains("no stack")));
    let events = done(open(&[samples("lantern/lantern-l.fits")]));
    let (recipe, _, _) = opened(&events);
    assert_eq!(recipe.renditions.len(), 1);
    assert_eq!(layers(&events).len(), 1);
}

#[test]
fn a_colour_picture_gives_three_channels() {
    let root = TempDir::new().expect("folder");
    let recipe = samples("lantern/lantern.toml");
    let path = root.path().join("shell.tif");
    let text = std::fs::read_to_string(&recipe).expect("text");
    let request = request(
        text::parse(&text, "").expect("holds"),
        &samples("lantern"),
        &path,
    );
    done(Job::Export(Box::new(request)));
    let events = done(open(&[path]));
    let (recipe, _, notices) = opened(&events);
    let lines: Vec<&str> = recipe.channels.iter().map(|c| c.line.as_str()).collect();
    assert_eq!(lines, ["R", "G", "B"]);
    let planes: Vec<_> = recipe.channels.iter().map(|c| c.plane).collect();
    assert_eq!(planes, [Some(0), Some(1), Some(2)]);
    assert!(
        notices.iter().any(|notice| notice.contains("R, G and B")),
        "{notices:?}"
    );
    assert_eq!(layers(&events).len(), 3);
}

#[test]
fn raw_stacks_are_laid_on_one_grid_with_figures() {
    let mut worker = Worker::inline();
    let lines = vec![(samples("lantern-raw/second-night.fits"), "SII".to_owned())];
    worker.ask(Job::Open {
        paths: vec![samples("lantern-raw")],
        onto: None,
        lines,
    });
    let (recipe, folder, _) = opened(&worker.events());
    worker.ask(Job::Prepare {
        recipe: recipe.clone(),
        folder: folder.clone(),
    });
    let events = worker.events();
    let found = events.iter().find_map(|event| match event {
        Event::Prepared { recipe, steps, .. } => Some((recipe, steps)),
        _ => None,
    });
    let (prepared, steps) = found.unwrap_or_else(|| panic!("{:#?}", words(&events)));
    assert_eq!(prepared.renditions, recipe.renditions);
    assert!(prepared.channels.iter().any(|c| c.align.is_some()));
    assert!(prepared.channels.iter().any(|c| c.level.is_some()));
    assert_eq!(prepared.crop, Some(Crop::Common));
    let said = |step: &str, words: &str| {
        steps
            .iter()
            .any(|s| s.step == step && s.outcome.contains(words))
    };
    assert!(said("align", "stars,") && said("crop", " x ") && said("level", "times the noise"));
    assert!(said("stretch", "black"));
    let there = layers(&events);
    assert_eq!(there.len(), prepared.channels.len());
    let size = there[0].1.size();
    assert!(there.iter().all(|(_, layer)| layer.size() == size));
    // After an undo and a redo, the same layers are made again.
    let again = done(Job::Load {
        recipe: (**prepared).clone(),
        folder,
        channels: vec![there[0].0.clone()],
    });
    let again = layers(&again);
    assert_eq!(again.len(), 1);
    assert_eq!(again[0].1.key, there[0].1.key);
    assert_eq!(again[0].1.size(), size);
    assert_eq!(again[0].1.levels, there[0].1.levels);
}

fn request(recipe: Recipe, folder: &Path, out: &Path) -> compose::Request {
    compose::Request {
        recipe,
        folder: folder.to_owned(),
        rendition: None,
        out: out.to_owned(),
        space: Space::Srgb,
        depth: None,
        long_edge: None,
        options: Options::default(),
        memory: DEFAULT_MEMORY,
        askable: None,
    }
}

#[test]
fn an_export_has_the_bytes_of_the_command() {
    let root = TempDir::new().expect("folder");
    let recipe = samples("lantern/lantern.toml");
    for ending in ["tif", "png", "jpg"] {
        // One name in two folders: the name is part of the tags.
        let (ours, theirs) = (root.path().join("a"), root.path().join("b"));
        std::fs::create_dir_all(&ours).expect("folder");
        std::fs::create_dir_all(&theirs).expect("folder");
        let name = format!("shell.{ending}");
        let text = std::fs::read_to_string(&recipe).expect("text");
        let job = request(
            text::parse(&text, "").expect("holds"),
            &samples("lantern"),
            &ours.join(&name),
        );
        let events = done(Job::Export(Box::new(job)));
        let Some(Event::Exported {
            path,
            record,
            bytes,
            ..
        }) = events
            .iter()
            .find(|event| matches!(event, Event::Exported { .. }))
        else {
            panic!("{:?}", words(&events))
        };
        let status = Command::new(env!("CARGO_BIN_EXE_linehue"))
            .args(["compose".as_ref(), recipe.as_os_str(), "-o".as_ref()])
            .arg(theirs.join(&name))
            .output()
            .expect("runs")
            .status;
        assert!(status.success());
        let written = std::fs::read(path).expect("file");
        assert_eq!(written.len() as u64, *bytes);
        assert!(
            written == std::fs::read(theirs.join(&name)).expect("file"),
            "{ending}"
        );
        assert!(record.is_file());
        if ending == "tif" {
            // A record opens as the recipe that it holds.
            let events = done(open(std::slice::from_ref(record)));
            let (opened, _, _) = opened(&events);
            let text = text::parse(&text, "").expect("holds");
            assert_eq!(opened.renditions, text.renditions);
            assert!(!layers(&events).is_empty());
        }
    }
}

#[test]
fn an_export_that_cannot_be_has_a_hint() {
    let text = std::fs::read_to_string(samples("lantern/lantern.toml")).expect("text");
    let job = request(
        text::parse(&text, "").expect("holds"),
        &samples("lantern"),
        Path::new("/nowhere/at/all/shell.tif"),
    );
    let events = done(Job::Export(Box::new(job)));
    assert!(
        matches!(&events[events.len() - 2], Event::Failed { what, hint, .. }
        if what.contains("/nowhere") && !hint.is_empty())
    );
}

#[test]
fn estimates_hold_for_what_is_written() {
    let events = done(open(&[samples("lantern/lantern.toml")]));
    let (recipe, folder, _) = opened(&events);
    let there = layers(&events);
    let layers: Vec<_> = recipe
        .channels
        .iter()
        .map(|c| {
            there
                .iter()
                .find(|(id, _)| *id == c.id)
                .map(|(_, l)| l.clone())
        })
        .collect();
    let size = there[0].1.size();
    let root = TempDir::new().expect("folder");
    for (ending, format) in [
        ("tif", Format::Tiff),
        ("png", Format::Png),
        ("jpg", Format::Jpeg),
        ("fits", Format::Fits),
    ] {
        let out = root.path().join(format!("shell.{ending}"));
        done(Job::Export(Box::new(request(
            recipe.clone(),
            &folder,
            &out,
        ))));
        let bytes = std::fs::metadata(&out).expect("written").len();
        let shape = Shape {
            size,
            format,
            depth: compose::usual_depth(format),
            space: Space::Srgb,
            options: Options::default(),
        };
        let sample = Sample {
            recipe: &recipe,
            rendition: &recipe.renditions[0],
            layers: &layers,
        };
        let range = estimate(&shape, Some(&sample));
        assert!(
            range.contains(&bytes),
            "{ending}: {bytes} is not in {range:?}"
        );
    }
}

/// What is told of a file before it is made is told of the rendition's own
/// stars, not of those that other channels told of for another rendition.
#[test]
fn what_is_told_before_an_export_goes_by_the_stars_of_its_rendition() {
    let events = done(open(&[samples("lantern/lantern.toml")]));
    let (mut recipe, _, _) = opened(&events);
    recipe.renditions[0].stars = Some(StarLook {
        show: ShowStars::None,
        ..StarLook::default()
    });
    let there = layers(&events);
    let teller = |(id, layer): &(String, Arc<Layer>)| Teller {
        channel: id.clone(),
        key: layer.key.clone(),
        denoise: 0.0,
    };
    let means = |plane: Plane| Means {
        reduced: pyramid(&plane),
        plane: Arc::new(plane),
    };
    // The right nebula is the channel, the wrong one has nothing to pack.
    let apart = |layer: &Layer, is_right: bool| {
        let plane = Plane::clone(&layer.plane);
        let flat = Plane::from_vec(layer.size(), vec![60.0; layer.size().pixels()]);
        let flat = flat.expect("pixels");
        Apart {
            denoise: 0.0,
            by: there[..if is_right { 3 } else { 2 }]
                .iter()
                .map(teller)
                .collect(),
            nebula: means(if is_right { plane } else { flat.clone() }),
            heights: Heights::Whole(means(flat)),
            stars: 1,
        }
    };
    let rendition = &recipe.renditions[0];
    let told = |sets: &[bool]| {
        let with = |(id, layer): &(String, Arc<Layer>)| {
            let parts = Parts {
                smooth: None,
                apart: sets
                    .iter()
                    .map(|is_right| apart(layer, *is_right))
                    .collect(),
            };
            let layer = Layer {
                parts,
                ..Layer::clone(layer)
            };
            (id.clone(), Arc::new(layer))
        };
        let all: Layers = there.iter().map(with).collect();
        let layers = recipe.channels.iter();
        let layers: Vec<_> = layers.map(|c| all.get(&c.id).cloned()).collect();
        let shape = Shape {
            size: there[0].1.size(),
            format: Format::Png,
            depth: Depth::Sixteen,
            space: Space::Srgb,
            options: Options::default(),
        };
        let sample = Sample {
            recipe: &recipe,
            rendition,
            layers: &layers,
        };
        let seen = caption::seen_of_layers(&recipe, rendition, Space::Srgb, &all);
        (
            estimate(&shape, Some(&sample)),
            seen.expect("all are there"),
        )
    };
    let right = told(&[true]);
    assert_ne!(told(&[false]), right);
    assert_eq!(told(&[false, true]), right);
}

#[test]
fn a_job_and_a_part_of_one_can_be_stopped() {
    let mut worker = Worker::inline();
    worker.cancel(1);
    worker.ask(open(&[samples("lantern")]));
    let events = worker.events();
    assert!(matches!(
        events.as_slice(),
        [Event::Finished {
            cancelled: true,
            ..
        }]
    ));
    let path = samples("lantern/lantern-ha.fits");
    worker.cancel_part(2, &path.to_string_lossy());
    worker.cancel_part(2, "oiii");
    worker.ask(open(&[samples("lantern")]));
    let events = worker.events();
    let (recipe, _, _) = opened(&events);
    assert_eq!(row(&events, "lantern-ha.fits"), RowState::Cancelled);
    assert_eq!(
        recipe.channels.len(),
        6,
        "a file stopped in time is no channel"
    );
    assert!(recipe.channel("oiii").is_some());
    assert_eq!(row(&events, "lantern-oiii.fits"), RowState::Cancelled);
    assert_eq!(layers(&events).len(), 5);
    assert!(matches!(
        events.last(),
        Some(Event::Finished {
            cancelled: false,
            ..
        })
    ));
}

#[test]
fn threads_tell_the_same_and_end_when_dropped() {
    let (wake, woken) = channel();
    let mut worker = Worker::spawn(move || {
        wake.send(()).ok();
    });
    let first = worker.ask(open(&[samples("lantern/lantern.toml")]));
    let second = worker.ask(open(&[samples("lantern")]));
    worker.cancel(second);
    let mut events = Vec::new();
    let over = |events: &[Event], wanted| {
        events
            .iter()
            .any(|event| matches!(event, Event::Finished { ticket, .. } if *ticket == wanted))
    };
    while !over(&events, second) {
        woken.recv().expect("the thread lives");
        events.extend(worker.events());
    }
    assert!(over(&events, first));
    let of_first: Vec<Event> = events
        .iter()
        .take_while(|e| !matches!(e, Event::Finished { .. }))
        .cloned()
        .collect();
    assert_eq!(layers(&of_first).len(), opened(&of_first).0.channels.len());
    assert!(matches!(
        events.last(),
        Some(Event::Finished {
            cancelled: true,
            ..
        })
    ));
    // Dropped with work waiting: it ends, and with it the last holder of `wake`.
    worker.ask(open(&[samples("lantern")]));
    drop(worker);
    while woken.recv().is_ok() {}
}
