//! Small stacks of the Lantern Shell for tests of the program: three lines on
//! one grid, plain FITS, made anew for each test.

use std::fs;
use std::path::{Path, PathBuf};

pub const WIDTH: usize = 200;
pub const HEIGHT: usize = 150;

// Numbers without a pattern, from a fixed start (xorshift, Marsaglia 2003).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    // -1..1, the sum of four draws: near enough to what a camera adds.
    fn noise(&mut self) -> f32 {
        let draws = (0..4).map(|_| (self.next() >> 40) as f32 / (1 << 24) as f32);
        draws.sum::<f32>() / 2.0 - 1.0
    }
}

/// A shell of light over a flat sky, in 32-bit floats.
pub fn shell(width: usize, height: usize, seed: u64) -> Vec<f32> {
    let mut random = Random(0x9e37_79b9_7f4a_7c15 ^ seed);
    let (cx, cy) = (width as f32 / 2.0 + seed as f32, height as f32 / 2.0);
    let radius = width.min(height) as f32 / 4.0;
    let mut values = Vec::with_capacity(width * height);
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (x as f32 - cx, y as f32 - cy);
            let off = ((dx * dx + dy * dy).sqrt() - radius) / 6.0;
            let light = 400.0 / (1.0 + off * off) * (1.0 + dx / width as f32);
            values.push(300.0 + light + 8.0 * random.noise());
        }
    }
    values
}

/// A FITS file of floats with more cards than the ones it must have.
pub fn fits(width: usize, height: usize, values: &[f32], more: &[&str]) -> Vec<u8> {
    let mut cards = vec![
        "SIMPLE  =                    T".to_owned(),
        "BITPIX  =                  -32".to_owned(),
        "NAXIS   =                    2".to_owned(),
        format!("NAXIS1  = {width}"),
        format!("NAXIS2  = {height}"),
    ];
    cards.extend(more.iter().map(ToString::to_string));
    cards.push("END".to_owned());
    let mut bytes: Vec<u8> = cards
        .iter()
        .flat_map(|card| format!("{card:<80}").into_bytes())
        .collect();
    bytes.resize(bytes.len().next_multiple_of(2880), b' ');
    bytes.extend(values.iter().flat_map(|value| value.to_be_bytes()));
    bytes.resize(bytes.len().next_multiple_of(2880), 0);
    bytes
}

/// One stack of a line, as `filter` names it.
pub fn stack(filter: &str, seed: u64) -> Vec<u8> {
    let filter = format!("FILTER  = '{filter}'");
    let cards = [
        filter.as_str(),
        "OBJECT  = 'Lantern Shell'",
        "EXPTIME =              12000.0",
        "CTYPE1  = 'RA---TAN'",
        "CTYPE2  = 'DEC--TAN'",
        "CRVAL1  =                 84.0",
        "CRVAL2  =                 -5.0",
        "CRPIX1  =                100.0",
        "CRPIX2  =                 75.0",
        "CDELT1  =             -0.00028",
        "CDELT2  =              0.00028",
    ];
    fits(WIDTH, HEIGHT, &shell(WIDTH, HEIGHT, seed), &cards)
}

/// A folder with the three stacks and a recipe of them, and the program's name.
pub struct Bench {
    pub folder: tempfile::TempDir,
}

/// The recipe that [`Bench::new`] lays beside its stacks.
pub const RECIPE: &str = r##"recipe = 1
reference = "ha"

[about]
title = "Lantern Shell in three lines"
object = "Lantern Shell"

[[channel]]
id = "ha"
file = "ha.fits"
line = "Ha"
width_nm = 5.0
[channel.stretch]
black = 295.0
white = 900.0
shape = "asinh"
amount = 20.0

[[channel]]
id = "oiii"
file = "oiii.fits"
line = "OIII"
[channel.stretch]
black = 295.0
white = 900.0
shape = "power"
amount = 0.6
curve = [[0.0, 0.0], [0.4, 0.5], [1.0, 1.0]]

[[channel]]
id = "sii"
file = "sii.fits"
line = "SII"
[channel.stretch]
black = 295.0
white = 900.0
shape = "log"
amount = 30.0

[[rendition]]
id = "mapped"
blend = "light"
gamut = "hold-hue"
saturation = 1.2
colors = { ha = "#40c060", oiii = { hue = 250 }, sii = [1, 0.1, 0] }
luminance = { from = { ha = 1 }, amount = 0.3 }

[[rendition]]
id = "pair"
blend = "screen"
colors = { oiii = "natural", sii = "natural" }
"##;

impl Bench {
    pub fn new() -> Self {
        let bench = Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        };
        bench.file("ha.fits", &stack("Ha", 1));
        bench.file("oiii.fits", &stack("OIII", 2));
        bench.file("sii.fits", &stack("SII", 3));
        bench.file("lantern.toml", RECIPE.as_bytes());
        bench
    }

    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.at(name);
        fs::write(&path, bytes).expect("a file can be written");
        path
    }

    /// The program, in the bench's folder, with no settings of the user's.
    pub fn linehue(&self, arguments: &[&str]) -> assert_cmd::Command {
        let mut command = assert_cmd::Command::new(env!("CARGO_BIN_EXE_linehue"));
        // No window opens in a test of the commands.
        command.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY");
        command
            .current_dir(self.folder.path())
            .env("XDG_CONFIG_HOME", self.at("settings"))
            .env("HOME", self.at("home"))
            .args(arguments);
        command
    }

    /// Runs the program; it must end with `code` and never panic.
    pub fn run(&self, code: i32, arguments: &[&str]) -> Spoken {
        spoken(
            &mut self.linehue(arguments),
            code,
            &format!("{arguments:?}"),
        )
    }

    /// Runs what must be refused: exit 2, nothing on standard output, one
    /// message that has each of `words`, a hint, and no file more than before.
    pub fn refused(&self, arguments: &[&str], words: &[&str]) -> String {
        let before = listing(self.folder.path());
        let said = self.run(2, arguments);
        refusal(&said, words, &format!("{arguments:?}"));
        assert_eq!(listing(self.folder.path()), before, "{arguments:?}");
        said.err
    }
}

/// What a run wrote.
pub struct Spoken {
    pub out: String,
    pub err: String,
}

pub fn spoken(command: &mut assert_cmd::Command, code: i32, what: &str) -> Spoken {
    let output = command.output().expect("the program starts");
    let said = Spoken {
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    };
    let all = format!("{what}\n{}\n{}", said.out, said.err);
    assert_eq!(output.status.code(), Some(code), "{all}");
    assert!(!all.contains("panicked"), "{all}");
    said
}

/// A refusal is one message with each of `words`, then a hint, and no more.
pub fn refusal(said: &Spoken, words: &[&str], what: &str) {
    let all = format!("{what}\n{}\n{}", said.out, said.err);
    assert!(said.out.is_empty(), "{all}");
    let lines: Vec<&str> = said
        .err
        .lines()
        .filter(|line| !line.starts_with("note: "))
        .collect();
    assert_eq!(lines.len(), 2, "a message and a hint: {all}");
    assert!(lines[0].starts_with("linehue: "), "{all}");
    assert!(lines[1].starts_with("  ") && lines[1].len() > 6, "{all}");
    for word in words {
        assert!(said.err.contains(word), "`{word}` is not in {all}");
    }
}

/// Names and sizes of all that lies in a folder, sorted.
pub fn listing(folder: &Path) -> Vec<(String, u64)> {
    let mut names: Vec<_> = fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| {
            let entry = entry.expect("an entry");
            let length = entry.metadata().map_or(0, |about| about.len());
            (entry.file_name().to_string_lossy().into_owned(), length)
        })
        .collect();
    names.sort();
    names
}
