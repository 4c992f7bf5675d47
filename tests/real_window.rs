//! The real program on a real (virtual) display, driven by real pointer and
//! key events: open the sample field, drag a thread, save, export, quit.
//!
//! It needs Xvfb, xdotool and ImageMagick's `import`. Where one is missing the
//! test says so and passes, unless LINEHUE_WINDOW_TESTS=insist.

#![cfg(all(target_os = "linux", feature = "gui"))]
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::{Recipe, text};
use linehue::gui::app::{App, Opening};
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;

const SIZE: [f32; 2] = [1440.0, 900.0];

/// A virtual display that ends with the test.
struct Display {
    server: Child,
    name: String,
}

impl Display {
    fn start() -> Self {
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", "1600x1000x24"])
            .args(["-nolisten", "tcp"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut number = String::new();
        BufReader::new(server.stdout.take().unwrap())
            .read_line(&mut number)
            .unwrap();
        let name = format!(":{}", number.trim());
        Self { server, name }
    }

    fn run(&self, program: &str, args: &[&str]) -> String {
        let output = Command::new(program)
            .args(args)
            .env("DISPLAY", &self.name)
            .output()
            .unwrap();
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    fn pointer(&self, args: &[&str]) {
        self.run("xdotool", args);
    }

    fn key(&self, key: &str) {
        self.run("xdotool", &["key", "--clearmodifiers", key]);
    }

    /// What is on the screen: width, and R G B of every pixel.
    fn picture(&self, at: &Path) -> (usize, Vec<u8>) {
        self.run(
            "import",
            &["-window", "root", &format!("png24:{}", at.display())],
        );
        let mut reader = png::Decoder::new(BufReader::new(std::fs::File::open(at).unwrap()))
            .read_info()
            .unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        pixels.truncate(info.buffer_size());
        assert_eq!(info.color_type, png::ColorType::Rgb);
        (info.width as usize, pixels)
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        self.server.kill().ok();
        self.server.wait().ok();
    }
}

struct Program(Child);

impl Drop for Program {
    fn drop(&mut self) {
        self.0.kill().ok();
        self.0.wait().ok();
    }
}

/// Looks again and again until `found` holds; a program that is gone, or
/// thousands of looks in vain, fail with what is on the screen.
fn until(display: &Display, program: &mut Program, what: &str, mut found: impl FnMut() -> bool) {
    for _ in 0..6000 {
        if found() {
            return;
        }
        if let Some(status) = program.0.try_wait().unwrap() {
            panic!("the program ended ({status}) before {what}");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let shot = Path::new(env!("CARGO_TARGET_TMPDIR")).join("real-window-failed.png");
    display.picture(&shot);
    panic!("no {what}: see {}", shot.display());
}

/// How the program ended; thousands of looks in vain fail.
fn ended(program: &mut Program) -> ExitStatus {
    for _ in 0..6000 {
        if let Some(status) = program.0.try_wait().unwrap() {
            return status;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    panic!("the program goes on");
}

fn equipped() -> bool {
    let missing: Vec<&str> = ["Xvfb", "xdotool", "import"]
        .into_iter()
        .filter(|program| {
            let path = std::env::var_os("PATH").unwrap_or_default();
            !std::env::split_paths(&path).any(|folder| folder.join(program).is_file())
        })
        .collect();
    if missing.is_empty() {
        return true;
    }
    let insist = std::env::var("LINEHUE_WINDOW_TESTS").is_ok_and(|value| value == "insist");
    assert!(!insist, "missing: {}", missing.join(", "));
    eprintln!("skipped: missing {}", missing.join(", "));
    false
}

fn copy_of_the_sample(to: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern");
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
    to.join("lantern.toml")
}

fn read(path: &Path) -> Recipe {
    text::parse(&std::fs::read_to_string(path).unwrap(), "saved").unwrap()
}

/// Where the lower end of a thread lies, in the same window laid out in memory.
fn end_of_thread(recipe: &Path, label: &str) -> [i32; 2] {
    let recipe = recipe.to_owned();
    let mut harness: Harness<'_, App> = Harness::builder()
        .with_size(SIZE)
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(vec![recipe])));
    harness.run_steps(8);
    let middle = harness.get_by_label(label).rect().center();
    [middle.x.round() as i32, middle.y.round() as i32]
}

/// The program on a recipe, its picture on the screen, the keys its own. What
/// it keeps is in the folder `state` beside the recipe.
fn start(display: &Display, recipe: &Path) -> Program {
    let mut program = Program(
        Command::new(env!("CARGO_BIN_EXE_linehue"))
            .arg(recipe)
            .env("DISPLAY", &display.name)
            .env_remove("WAYLAND_DISPLAY")
            .env("LINEHUE_STATE_DIR", recipe.with_file_name("state"))
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .stdout(Stdio::null())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap(),
    );
    let shot = recipe.with_file_name("shot.png");
    // The nebula is on the screen: many different colours in the middle.
    until(display, &mut program, "picture", || {
        let (width, rgb) = display.picture(&shot);
        let mut colors = std::collections::BTreeSet::new();
        for y in (300..500).step_by(4) {
            for x in (500..900).step_by(4) {
                let at = 3 * (y * width + x);
                colors.insert([rgb[at], rgb[at + 1], rgb[at + 2]]);
            }
        }
        colors.len() > 500
    });
    // First hints go away; the window takes the keys.
    display.pointer(&["mousemove", "700", "400"]);
    let window = display.run("xdotool", &["search", "--name", "Linehue"]);
    let window = window.lines().next().unwrap().to_owned();
    display.pointer(&["windowfocus", &window]);
    program
}

/// Protects a session that ends (the user logs off) from hanging on a window,
/// and the work in that window.
#[test]
fn one_request_to_end_closes_the_window_and_keeps_unsaved_work() {
    if !equipped() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let recipe = copy_of_the_sample(folder.path());
    let display = Display::start();
    let mut program = start(&display, &recipe);
    // Another rendition is an edit.
    display.key("ctrl+d");
    let unsaved = folder.path().join("state/unsaved");
    let kept = || -> Vec<PathBuf> {
        let entries = std::fs::read_dir(&unsaved).into_iter().flatten();
        entries.map(|entry| entry.unwrap().path()).collect()
    };
    let is_copy = |path: &PathBuf| path.to_string_lossy().ends_with(".unsaved.json");
    until(&display, &mut program, "copy of unsaved work", || {
        kept().iter().any(is_copy)
    });
    let number = program.0.id().to_string();
    display.run("kill", &["-TERM", &number]);
    let status = ended(&mut program);
    assert!(status.success(), "{status}");
    // The copy stays, and nobody holds it.
    let kept = kept();
    assert!(matches!(&kept[..], [one] if is_copy(one)), "{kept:?}");
}

#[test]
fn a_thread_is_dragged_and_the_picture_exported_in_the_real_window() {
    if !equipped() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let recipe = copy_of_the_sample(folder.path());
    let before = read(&recipe);
    let display = Display::start();
    let mut program = start(&display, &recipe);
    let shot = folder.path().join("shot.png");
    let [x, y] = end_of_thread(&recipe, "Hue of [O III]");
    display.pointer(&["mousemove", &x.to_string(), &y.to_string()]);
    display.pointer(&["mousedown", "1"]);
    let mut seen = display.picture(&shot).1;
    for step in 1..=6 {
        let to = (x - 20 * step).to_string();
        display.pointer(&["mousemove", &to, &y.to_string()]);
        // The window follows each step before the next is made.
        until(&display, &mut program, "window that follows", || {
            let now = display.picture(&shot).1;
            let moved = now != seen;
            seen = now;
            moved
        });
    }
    display.pointer(&["mouseup", "1"]);
    display.key("ctrl+s");
    until(&display, &mut program, "saved recipe", || {
        std::fs::read_to_string(&recipe)
            .ok()
            .and_then(|text| text::parse(&text, "saved").ok())
            .is_some_and(|now| now.renditions[0].colors != before.renditions[0].colors)
    });
    let after = read(&recipe);
    assert_ne!(
        after.renditions[0].colors["oiii"],
        before.renditions[0].colors["oiii"]
    );
    assert_eq!(
        after.renditions[0].colors["ha"], before.renditions[0].colors["ha"],
        "another thread moved"
    );

    display.key("ctrl+e");
    let exported = || {
        let entries = std::fs::read_dir(folder.path()).unwrap();
        entries
            .filter_map(|entry| Some(entry.ok()?.path()))
            .find(|path| path.to_string_lossy().ends_with(".record.json"))
    };
    // Enter exports; it is pressed until the dialog is there to take it.
    let mut looks = 0;
    until(&display, &mut program, "export", || {
        if looks % 50 == 10 {
            display.key("Return");
        }
        looks += 1;
        exported().is_some()
    });
    let record = exported().unwrap();
    let composite = PathBuf::from(record.to_string_lossy().replace(".record.json", ""));

    // The command writes the same file, byte for byte.
    let name = composite.file_name().unwrap();
    let again = folder.path().join("again").join(name);
    std::fs::create_dir(again.parent().unwrap()).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_linehue"))
        .args(["compose", "--quiet"])
        .arg(&recipe)
        .arg("-o")
        .arg(&again)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        std::fs::read(&composite).unwrap() == std::fs::read(&again).unwrap(),
        "the window wrote other bytes than the command"
    );

    display.key("Escape");
    display.key("ctrl+q");
    let status = program.0.wait().unwrap();
    assert!(status.success(), "{status}");
}
