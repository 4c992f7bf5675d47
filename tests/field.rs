//! The invented field is what it says, and the sample stacks are its work.

#![expect(
    clippy::disallowed_methods,
    reason = "a check by the standard library's own functions"
)]

use std::path::{Path, PathBuf};

#[path = "support/field/mod.rs"]
mod field;

use field::files::{Samples, to_u16};
use field::filters::{ALL, Filter};
use field::optics::moffat_alpha;
use field::sets::{self, Kind, RAW};
use field::stars::{CENTRAL, Star};
use field::{Backdrop, Grid, Parts, STARS_ALONE, Scene, Spec, render, render_over, render_rows};

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks")
}

fn bits(values: &[f32]) -> Vec<u32> {
    values.iter().map(|value| value.to_bits()).collect()
}

/// A small turned grid on a small sky.
fn small() -> (Scene, Spec) {
    let spec = Spec {
        grid: Grid {
            width: 150,
            height: 107,
            to_reference: [[0.98, -0.17, 14.0], [0.17, 0.98, -6.0], [0.0, 0.0, 1.0]],
        },
        gradient: [12.0, -7.0, 3.0, 2.0, -5.0],
        ..Spec::new(160, 107, Filter::Ha)
    };
    (Scene::new(160, 107, 5), spec)
}

#[test]
fn any_bands_give_the_same_bits() {
    let (scene, spec) = small();
    let whole = render(&scene, &spec);
    let mut banded = Vec::new();
    for rows in [0..1, 1..40, 40..41, 41..101, 101..107] {
        banded.extend(render_rows(&scene, &spec, rows));
    }
    assert_eq!(bits(&whole), bits(&banded));
    let backdrop = Backdrop::new(&scene, spec.grid, 20..90);
    let over = render_over(&scene, &backdrop, &spec, 30..70);
    assert_eq!(bits(&whole[30 * 150..70 * 150]), bits(&over));
    let spread = whole.iter().fold(0.0f32, |most, value| most.max(*value));
    assert!(spread > 300.0, "nothing to see: {spread}");
}

#[test]
fn any_number_of_threads_gives_the_same_bits() {
    let (scene, spec) = small();
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a small pool");
        bits(&pool.install(|| render(&scene, &spec)))
    };
    assert_eq!(with(1), with(3));
}

#[test]
fn large_frames_can_be_made_in_bands_too() {
    // Wide enough that the gas is drawn through every fourth pixel.
    let scene = Scene {
        stars: Vec::new(),
        ..Scene::new(5700, 3800, 5)
    };
    let mut spec = Spec::new(5700, 3800, Filter::Oiii);
    spec.grid.width = 2200;
    let whole = render_rows(&scene, &spec, 1900..1923);
    let mut banded = render_rows(&scene, &spec, 1900..1907);
    banded.extend(render_rows(&scene, &spec, 1907..1923));
    assert_eq!(bits(&whole), bits(&banded));
}

#[test]
fn drawing_large_frames_through_fewer_points_changes_little() {
    let scene = Scene {
        stars: Vec::new(),
        ..Scene::new(5700, 3800, 5)
    };
    let mut spec = Spec::new(5700, 3800, Filter::Ha);
    spec.parts.noise = false;
    spec.grid.width = 300;
    spec.grid.height = 40;
    spec.grid.to_reference = [[1.0, 0.0, 2100.0], [0.0, 1.0, 1500.0], [0.0, 0.0, 1.0]];
    let backdrop = Backdrop::exact(&scene, spec.grid, 0..40);
    let exact = render_over(&scene, &backdrop, &spec, 0..40);
    let drawn = render(&scene, &spec);
    let most = exact.iter().fold(0.0f32, |most, value| most.max(*value));
    let (mut worst, mut sum) = (0.0f32, 0.0f64);
    for (exact, drawn) in exact.iter().zip(&drawn) {
        worst = worst.max((exact - drawn).abs());
        sum += f64::from((exact - drawn) * (exact - drawn));
    }
    let rms = (sum / exact.len() as f64).sqrt();
    // Edges a pixel or two wide suffer most.
    assert!(worst < 0.15 * most, "{worst} of {most}");
    assert!(rms < 0.02 * f64::from(most), "{rms} of {most}");
}

#[test]
fn noise_follows_the_photons() {
    for (sky, gain, read_noise, frames) in [(46.0, 0.78, 1.6, 80), (5200.0, 0.4, 3.0, 7)] {
        let spec = Spec {
            sky,
            gain,
            read_noise,
            frames,
            parts: Parts {
                gas: false,
                stars: false,
                noise: true,
                saturation: true,
            },
            ..Spec::new(500, 400, Filter::Sii)
        };
        let empty = Scene {
            stars: Vec::new(),
            ..Scene::new(64, 64, 1)
        };
        let values = render(&empty, &spec);
        let count = values.len() as f64;
        let mean = values.iter().map(|&v| f64::from(v)).sum::<f64>() / count;
        let off = |v: f32| f64::from(v) - mean;
        let variance = values.iter().map(|&v| off(v) * off(v)).sum::<f64>() / (count - 1.0);
        // Electrons: Poisson of sky x gain in each frame plus read noise.
        let expected = (sky * gain + read_noise * read_noise) / (gain * gain * f64::from(frames));
        assert!((mean - sky).abs() < 5.0 * (expected / count).sqrt());
        assert!((variance / expected - 1.0).abs() < 0.03, "{variance}");
        // Neighbours know nothing of each other, along rows and columns.
        for step in [1, 2, 500] {
            let pairs = values.iter().zip(&values[step..]);
            let product = pairs.map(|(&a, &b)| off(a) * off(b)).sum::<f64>() / count;
            assert!((product / variance).abs() < 0.012, "step {step}");
        }
        // A bell's fourth moment is three times its variance squared.
        let fourth = values.iter().map(|&v| off(v).powi(4)).sum::<f64>() / count;
        assert!((fourth / (variance * variance) - 3.0).abs() < 0.1);
    }
}

#[test]
fn stars_are_as_wide_and_as_bright_as_asked() {
    for filter in ALL {
        let star = Star {
            x: 60.0,
            y: 57.0,
            rate: 20.0,
            kelvin: 5772.0,
            dust: 0.0,
        };
        let scene = Scene {
            stars: vec![star],
            ..Scene::new(120, 120, 1)
        };
        let spec = Spec {
            sky: 0.0,
            ..Spec::new(120, 120, filter).with_parts(STARS_ALONE)
        };
        // Width, on a grid four times as fine.
        let fine = Spec {
            grid: Grid {
                width: 200,
                height: 3,
                to_reference: [[0.25, 0.0, 60.0], [0.0, 0.25, 57.0], [0.0, 0.0, 1.0]],
            },
            fwhm_px: 4.0 * spec.fwhm_px,
            ..spec
        };
        let row = render_rows(&scene, &fine, 0..1);
        let half = 0.5 * row[0];
        let outside = row.iter().position(|&v| v < half).expect("the star fades");
        let inner = row[outside - 1];
        let radius = outside as f32 - (half - row[outside]) / (inner - row[outside]);
        let measured = 0.5 * f64::from(radius);
        assert!(
            (measured / spec.fwhm_px - 1.0).abs() < 0.015,
            "{filter:?}: {measured} px instead of {}",
            spec.fwhm_px
        );
        // Shape: a Moffat of beta 3 as far as the core goes.
        let values = render(&scene, &spec);
        let row = &values[57 * 120 + 60..57 * 120 + 65];
        for (distance, value) in row.iter().enumerate() {
            let over = distance as f64 / moffat_alpha(spec.fwhm_px);
            let expected = (1.0 + over * over).powi(-3);
            assert!((f64::from(value / row[0]) - expected).abs() < 0.012);
        }
        let light: f64 = values.iter().map(|&v| f64::from(v)).sum();
        let share = light / spec.star_light(&star);
        assert!((0.95..1.005).contains(&share), "{filter:?}: {share}");
    }
    // Half of a Moffat's peak: (1 + (1.3 / alpha)^2)^-3 = 1/2.
    let at_half = 1.3 / moffat_alpha(2.6);
    assert!(((1.0 + at_half * at_half).powi(-3) - 0.5).abs() < 1e-12);
}

#[test]
fn black_bodies_have_their_colours() {
    // Planck's law integrated with SciPy's quad over the same passbands:
    // photons in B over photons in R.
    for (kelvin, expected) in BLUE_OVER_RED {
        let ratio = Filter::B.blackbody_nm(kelvin) / Filter::R.blackbody_nm(kelvin);
        assert!((ratio / expected - 1.0).abs() < 2e-3, "{kelvin}: {ratio}");
    }
}

/// Temperature in kelvin, photons 400..505 nm over photons 590..690 nm.
const BLUE_OVER_RED: [(f64, f64); 3] = [
    (3500.0, 0.301_508),
    (5772.0, 0.817_616),
    (15000.0, 1.992_768),
];

#[test]
fn the_central_star_is_where_the_header_says() {
    // Right ascension and declination of the central star, degrees: astropy's
    // pixel_to_world on the header of lantern-l.fits, given the star's pixel.
    const STAR_DEG: (f64, f64) = (293.416_589_514_5, 19.067_107_416_3);
    let (header, _) = open(&samples().join("lantern/lantern-l.fits"));
    let card = |key: &str| number(&header, key);
    let (ra, dec) = (STAR_DEG.0.to_radians(), STAR_DEG.1.to_radians());
    let (ra0, dec0) = (card("CRVAL1").to_radians(), card("CRVAL2").to_radians());
    // Gnomonic projection (Calabretta and Greisen 2002, section 5.1.3).
    let depth = dec.sin() * dec0.sin() + dec.cos() * dec0.cos() * (ra - ra0).cos();
    let east = (dec.cos() * (ra - ra0).sin() / depth).to_degrees();
    let north =
        ((dec.sin() * dec0.cos() - dec.cos() * dec0.sin() * (ra - ra0).cos()) / depth).to_degrees();
    let (a, b) = (card("CD1_1"), card("CD1_2"));
    let (c, d) = (card("CD2_1"), card("CD2_2"));
    let det = a * d - b * c;
    assert!(det < 0.0, "the sky is mirrored");
    let x = card("CRPIX1") + (d * east - b * north) / det - 1.0;
    let y = card("CRPIX2") + (a * north - c * east) / det - 1.0;
    let star = sets::scene().stars[CENTRAL];
    assert!(
        (x - star.x).abs() < 0.02 && (y - star.y).abs() < 0.02,
        "{x} {y}"
    );
}

/// Header and data of a plain FITS file.
fn open(path: &Path) -> (String, Vec<u8>) {
    let bytes = std::fs::read(path).expect("a sample file");
    let end = bytes
        .chunks(80)
        .position(|card| card.starts_with(b"END "))
        .expect("a header with an end");
    let data = (end * 80 / 2880 + 1) * 2880;
    let header = String::from_utf8(bytes[..data].to_vec()).expect("plain text");
    (header, bytes[data..].to_vec())
}

fn number(header: &str, key: &str) -> f64 {
    let at = header.find(&format!("{key:<8}= ")).expect(key);
    let value = &header[at + 10..at + 80];
    value
        .split('/')
        .next()
        .unwrap_or(value)
        .trim()
        .parse()
        .expect("a number")
}

/// Some rows of a plain FITS file of ours.
fn rows_of(data: &[u8], samples: Samples, width: usize, rows: core::ops::Range<usize>) -> Vec<f32> {
    let all = rows.start * width..rows.end * width;
    match samples {
        Samples::Float => data[4 * all.start..4 * all.end]
            .chunks(4)
            .map(|b| f32::from_be_bytes([b[0], b[1], b[2], b[3]]))
            .collect(),
        Samples::Unsigned16 => data[2 * all.start..2 * all.end]
            .chunks(2)
            .map(|b| f32::from(u16::from_be_bytes([b[0], b[1]]) ^ 0x8000))
            .collect(),
    }
}

fn as_stored(values: Vec<f32>, samples: Samples) -> Vec<f32> {
    match samples {
        Samples::Float => values,
        Samples::Unsigned16 => values.into_iter().map(|v| f32::from(to_u16(v))).collect(),
    }
}

#[test]
fn the_aligned_stacks_are_the_generators_work() {
    let scene = sets::scene();
    for (index, filter) in ALL.into_iter().enumerate() {
        let (header, data) = open(&samples().join("lantern").join(sets::aligned_name(filter)));
        for card in sets::aligned_cards(filter) {
            assert!(header.contains(&card.line()), "{filter:?}: {}", card.line());
        }
        let kind = sets::aligned_samples(filter);
        let rows = 60 + 70 * index..66 + 70 * index;
        let made = render_rows(&scene, &sets::aligned(filter), rows.clone());
        let kept = rows_of(&data, kind, sets::WIDTH, rows);
        assert_eq!(bits(&as_stored(made, kind)), bits(&kept), "{filter:?}");
    }
}

#[test]
fn the_raw_stacks_are_the_generators_work() {
    let scene = sets::scene();
    for (raw, kept) in RAW.iter().zip(raw_frames()) {
        if let Kind::Fits(_) = raw.kind {
            let (header, _) = open(&samples().join("lantern-raw").join(raw.file));
            for card in raw.cards() {
                assert!(
                    header.contains(&card.line()),
                    "{}: {}",
                    raw.file,
                    card.line()
                );
            }
        }
        for rows in [0..5, 200..206] {
            let made = raw.rows(&scene, rows.clone());
            let kept = &kept[rows.start * raw.size.0..rows.end * raw.size.0];
            match raw.kind {
                Kind::Fits(samples) => {
                    assert_eq!(bits(&as_stored(made, samples)), bits(kept), "{}", raw.file);
                }
                Kind::Tiff => {
                    let made = as_stored(made, Samples::Unsigned16);
                    assert_eq!(bits(&made), bits(kept), "{}", raw.file);
                }
                // Quantised to about a fourth of the noise (1.8 here).
                Kind::Rice => {
                    for (made, kept) in made.iter().zip(kept) {
                        assert!((made - kept).abs() < 0.5, "{made} {kept}");
                    }
                }
            }
        }
    }
}

/// The pixels of all raw files, each through a reader that is not ours.
fn raw_frames() -> Vec<Vec<f32>> {
    let folder = samples().join("lantern-raw");
    let frame = |raw: &sets::Raw| -> Vec<f32> {
        let path = folder.join(raw.file);
        match raw.kind {
            Kind::Fits(samples) => {
                let (_, data) = open(&path);
                rows_of(&data, samples, raw.size.0, 0..raw.size.1)
            }
            Kind::Rice => {
                let mut file = fitsio::FitsFile::open(&path).expect("a FITS file");
                let image = file.hdu(1).expect("a compressed image");
                image.read_image(&mut file).expect("its pixels")
            }
            Kind::Tiff => {
                let file = std::fs::File::open(&path).expect("a sample file");
                let mut decoder =
                    tiff::decoder::Decoder::new(std::io::BufReader::new(file)).expect("a TIFF");
                match decoder.read_image().expect("its pixels") {
                    tiff::decoder::DecodingResult::U16(codes) => {
                        codes.into_iter().map(f32::from).collect()
                    }
                    _ => panic!("{} is not 16-bit", raw.file),
                }
            }
        }
    };
    RAW.iter().map(frame).collect()
}

#[test]
fn the_raw_stacks_lie_where_the_truth_says() {
    let scene = sets::scene();
    for (raw, kept) in RAW.iter().zip(raw_frames()) {
        let spec = raw.spec();
        let (width, height) = raw.size;
        let (mut found, mut sought) = (0, 0);
        for star in scene.stars_on(&spec) {
            let (x, y, light) = (star.x, star.y, star.light);
            let inside =
                x > 20.0 && y > 20.0 && x < width as f64 - 21.0 && y < height as f64 - 21.0;
            if !inside || !(9_000.0..200_000.0).contains(&light) {
                continue;
            }
            sought += 1;
            // Centroid above the darkest pixel of the neighbourhood.
            let (left, top) = (x.round() as usize - 4, y.round() as usize - 4);
            let at = |dx: usize, dy: usize| f64::from(kept[(top + dy) * width + left + dx]);
            let cells = || (0..81).map(|i| (i % 9, i / 9));
            let floor = cells().map(|(i, j)| at(i, j)).fold(f64::MAX, f64::min);
            let peak = cells().map(|(i, j)| at(i, j) - floor).fold(0.0, f64::max);
            let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
            for (i, j) in cells() {
                let weight = (at(i, j) - floor - 0.25 * peak).max(0.0);
                sum += weight;
                sx += weight * (left + i) as f64;
                sy += weight * (top + j) as f64;
            }
            if (sx / sum - x).abs() < 0.2 && (sy / sum - y).abs() < 0.2 {
                found += 1;
            }
        }
        assert!(
            found >= 9 && found * 10 >= sought * 8,
            "{}: {found} of {sought} stars in place",
            raw.file
        );
    }
}

#[test]
fn borders_are_where_frames_did_not_overlap() {
    for (raw, kept) in RAW.iter().zip(raw_frames()) {
        let (width, height) = raw.size;
        for y in 0..height {
            for x in 0..width {
                let value = kept[y * width + x];
                let empty = value.is_nan() || value == 0.0;
                assert_eq!(empty, !raw.covered(x, y), "{} at {x}, {y}", raw.file);
            }
        }
    }
    assert!(!RAW[0].covered(0, 0) && !RAW[2].covered(0, 0));
}

#[test]
fn sulfur_stays_in_proportion() {
    // Photoionised gas: 0.05 to 0.5 of H-alpha wherever the gas is bright.
    let scene = sets::scene();
    let (mut bright, mut odd) = (0, 0);
    for y in (0..sets::HEIGHT).step_by(7) {
        for x in (0..sets::WIDTH).step_by(7) {
            let light = scene.nebula.at_px(x as f64, y as f64);
            if light.ha > 0.1 {
                bright += 1;
                let ratio = light.sii / light.ha;
                odd += usize::from(!(0.05..0.6).contains(&ratio));
            }
        }
    }
    assert!(bright > 500 && odd * 20 < bright, "{odd} of {bright}");
}

#[test]
fn the_samples_are_small() {
    let mut total = 0;
    for set in ["lantern", "lantern-raw"] {
        for entry in std::fs::read_dir(samples().join(set)).expect("a folder of samples") {
            total += entry
                .and_then(|entry| entry.metadata())
                .map_or(0, |data| data.len());
        }
    }
    assert!(total < 12_000_000, "{total} bytes");
}
