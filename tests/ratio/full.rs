//! Full pixels have no ratio, whatever was done to a line before.

use super::stacks::{Bench, HEIGHT, RECIPE, WIDTH, fits, shell};
use super::{json, open, values};

const FULL: f32 = 5000.0;

// Spots on the shell, where both lines are bright.
pub const IN_HA: [usize; 2] = [137, 75];
pub const IN_SII: [usize; 2] = [100, 38];
const IN_R: [usize; 2] = [63, 75];

// What of a spot of 3 x 3 pixels is full.
pub fn spot([x, y]: [usize; 2]) -> impl Iterator<Item = [usize; 2]> {
    (0..9).map(move |at| [x - 1 + at % 3, y - 1 + at / 3])
}

fn stack(filter: &str, seed: u64, place: [usize; 2]) -> Vec<u8> {
    let mut values = shell(WIDTH, HEIGHT, seed);
    for [x, y] in spot(place) {
        values[y * WIDTH + x] = FULL;
    }
    let filter = format!("FILTER  = '{filter}'");
    let cards = [filter.as_str(), "SATURATE=               5000.0"];
    fits(WIDTH, HEIGHT, &values, &cards)
}

// A map of [S II] over H-alpha, where each line's channel has some lines more.
pub fn map(bench: &Bench, sii: &str, ha: &str) -> Vec<f32> {
    let broad = "[[channel]]\nid = \"r\"\nfile = \"r.fits\"\nline = \"R\"\nwidth_nm = 120.0\n\
                 [channel.stretch]\nblack = 295.0\nwhite = 900.0\n\n";
    let text = RECIPE
        .replace("line = \"SII\"\n", &format!("line = \"SII\"\n{sii}\n"))
        .replace("line = \"Ha\"\n", &format!("line = \"Ha\"\n{ha}\n"))
        .replace(
            "[[rendition]]\nid = \"mapped\"",
            &format!("{broad}[[rendition]]\nid = \"mapped\""),
        );
    bench.file("own.toml", text.as_bytes());
    bench.file("ha.fits", &stack("Ha", 1, IN_HA));
    bench.file("sii.fits", &stack("SII", 1, IN_SII));
    bench.file("r.fits", &stack("R", 1, IN_R));
    bench.run(0, &["ratio", "own.toml", "sii/ha", "-o", "map.fits"]);
    let record = std::fs::read_to_string(bench.at("map.fits.ratio.json")).expect("a record");
    let opened = open(&bench.at("map.fits"), 0);
    for (keyword, side) in [("FULL1", "over"), ("FULL2", "under")] {
        // As the files have it: the words that stand beside it hold.
        assert_eq!(opened.facts.header.number(keyword), Some(5000.0));
        assert_eq!(json(&record)[side]["full"], 5000.0);
    }
    bench.run(0, &["verify", "map.fits.ratio.json"]);
    values(&opened)
}

fn none_at(map: &[f32], places: impl Iterator<Item = [usize; 2]>, what: &str) {
    for [x, y] in places {
        assert!(map[y * WIDTH + x].is_nan(), "{what}: {x}, {y}");
    }
}

// On the shell, so many pixels from a spot's middle along the circle or off it.
fn known_at(map: &[f32], [x, y]: [usize; 2], away: usize, what: &str) {
    for [x, y] in [[x + away, y], [x, y + away], [x - away, y], [x, y - away]] {
        assert!(map[y * WIDTH + x].is_finite(), "{what}: {x}, {y}");
    }
}

/// Protects that a full pixel has no ratio where the sky of its line was
/// evened, which moves its value below the ceiling of the file, and that its
/// neighbours keep theirs.
#[test]
fn full_pixels_have_no_ratio_once_a_line_is_levelled() {
    let bench = Bench::new();
    let level = "level = { degree = 1, zero = true }";
    for (sii, ha) in [("", ""), (level, ""), ("", level), (level, level)] {
        let what = format!("{sii} {ha}");
        let map = map(&bench, sii, ha);
        for place in [IN_HA, IN_SII] {
            none_at(&map, spot(place), &what);
            known_at(&map, place, 2, &what);
        }
        assert!(map[IN_R[1] * WIDTH + IN_R[0]].is_finite(), "{what}");
    }
}

/// Protects that a full pixel of a line that is laid on another grid has no
/// ratio wherever it goes into a value, and takes no more with it where values
/// are copied.
#[test]
fn full_pixels_have_no_ratio_once_a_line_is_resampled() {
    let bench = Bench::new();
    let shifted = |x: f64, y: f64| {
        format!("align = {{ method = \"given\", matrix = [[1, 0, {x}], [0, 1, {y}], [0, 0, 1]] }}")
    };
    let half = map(&bench, &shifted(0.5, 0.3), "");
    // Four pixels of the map share what was one.
    for [right, down] in [[0, 0], [1, 0], [0, 1], [1, 1]] {
        let places = spot(IN_SII).map(|[x, y]| [x + right, y + down]);
        none_at(&half, places, "half a pixel");
    }
    none_at(&half, spot(IN_HA), "half a pixel");
    known_at(&half, IN_HA, 2, "half a pixel");
    known_at(&half, IN_SII, 6, "half a pixel");
    let whole = map(&bench, &shifted(3.0, 2.0), "");
    let moved = [IN_SII[0] + 3, IN_SII[1] + 2];
    none_at(&whole, spot(moved), "whole pixels");
    known_at(&whole, moved, 2, "whole pixels");
    known_at(&whole, IN_HA, 2, "whole pixels");
}

/// Protects that what a full pixel of the broad channel is taken out of has no
/// ratio, neither with nor without a crop.
#[test]
fn full_pixels_of_what_is_taken_out_have_no_ratio() {
    let bench = Bench::new();
    let taken = "continuum = { from = \"r\", scale = 0.05 }";
    let map = map(&bench, taken, taken);
    for place in [IN_HA, IN_SII, IN_R] {
        none_at(&map, spot(place), "continuum");
    }
    let known = map.iter().filter(|ratio| ratio.is_finite()).count();
    assert!(known > 1000, "{known}");
    let text = std::fs::read_to_string(bench.at("own.toml")).expect("there");
    let text = text.replace("[about]", "crop = [40, 20, 120, 110]\n[about]");
    bench.file("crop.toml", text.as_bytes());
    bench.run(0, &["ratio", "crop.toml", "sii/ha", "-o", "crop.fits"]);
    let cropped = values(&open(&bench.at("crop.fits"), 0));
    for place in [IN_HA, IN_SII, IN_R] {
        for [x, y] in spot(place) {
            assert!(cropped[(y - 20) * 120 + x - 40].is_nan(), "{x}, {y}");
        }
    }
    assert!(cropped.iter().any(|ratio| ratio.is_finite()));
}
