//! A patch that shall be grey.
//!
//! Protects that noise is never taken for a patch's light, and that the gains
//! are as uncertain as they are said to be.

use linehue::engine::align::stars::Stars;
use linehue::engine::balance::{
    Balance, BalanceError, Broadband, Field, Patch, by_patch, neutral_sky,
};
use linehue::engine::frame::{Plane, Size};

use super::scene::Draw;
use super::{NOISE, SKY, Sky, stars};

const SMALL: Size = Size {
    width: 220,
    height: 160,
};

const PATCH: Patch = Patch {
    corner: [70, 50],
    width: 60,
    height: 40,
};

/// Channels of sky and noise; within the patch the light of each on top, as
/// large as `light` says of the channel, the column and the row.
fn noisy(seed: u64, smooth: bool, light: &dyn Fn(usize, usize, usize) -> f64) -> [Plane; 3] {
    let Size { width, height } = SMALL;
    [0, 1, 2].map(|index: usize| {
        let mut draw = Draw::new(9000 * seed + index as u64);
        let grain: Vec<f64> = (0..(width + 2) * (height + 2))
            .map(|_| NOISE * draw.normal())
            .collect();
        let at = |x: usize, y: usize| grain[y * (width + 2) + x];
        let mut values = Vec::with_capacity(SMALL.pixels());
        for y in 0..height {
            for x in 0..width {
                let noise = if smooth {
                    // Neighbours share their noise, as in a resampled stack.
                    let near = (0..9).map(|k| at(x + k % 3, y + k / 3));
                    near.sum::<f64>() / 3.0
                } else {
                    at(x, y)
                };
                let [left, top] = PATCH.corner;
                let inside = (left..left + PATCH.width).contains(&x)
                    && (top..top + PATCH.height).contains(&y);
                let own = if inside { light(index, x, y) } else { 0.0 };
                values.push((SKY[index] + own + noise) as f32);
            }
        }
        Plane::from_vec(SMALL, values).expect("the size fits")
    })
}

fn balance(planes: &[Plane; 3]) -> Result<Balance, BalanceError> {
    let none = Stars {
        stars: Vec::new(),
        fwhm_px: None,
        elongation: None,
        background: f64::NAN,
        background_noise: f64::NAN,
        ceiling: None,
    };
    let field = |index: usize| Field {
        rows: &planes[index],
        stars: &none,
    };
    let channels = Broadband {
        rgb: [0, 1, 2].map(|index| Some(field(index))),
    };
    let rows = [&planes[0] as _, &planes[1] as _, &planes[2] as _];
    let sky = neutral_sky(rows).expect("in memory");
    by_patch(&channels, PATCH, sky, [None; 3])
}

/// How far the gains of red and blue lie from the truth, in their own sigma, as
/// a root mean square over many pictures.
fn pull(smooth: bool, truth: [f64; 3], light: &dyn Fn(usize, usize, usize) -> f64) -> f64 {
    let mut squares = Vec::new();
    for seed in 0..80 {
        let found = balance(&noisy(seed, smooth, light)).expect("there is light");
        for i in [0, 2] {
            assert!(found.gains.sigma[i] > 0.0, "{found:?}");
            let off = (found.gains.rgb[i] - truth[i]) / found.gains.sigma[i];
            squares.push(off * off);
        }
    }
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

/// The light of an even patch: gains of 2, 1 and 0.5 make it grey.
const LIGHT: [f64; 3] = [2.0, 4.0, 8.0];

const TRUTH: [f64; 3] = [2.0, 1.0, 0.5];

#[test]
fn gains_are_as_uncertain_as_they_scatter() {
    let alone = pull(false, TRUTH, &|index, _, _| LIGHT[index]);
    let shared = pull(true, TRUTH, &|index, _, _| LIGHT[index]);
    eprintln!("pull: independent pixels {alone:.2}, neighbours alike {shared:.2}");
    assert!((0.6..1.3).contains(&alone), "{alone}");
    assert!((0.6..1.3).contains(&shared), "{shared}");
}

/// Two halves of unlike colour: no gain makes both grey, and the patch's gain
/// says so.
#[test]
fn a_patch_of_many_colours_is_less_sure() {
    let even = balance(&noisy(3, false, &|i, _, _| 20.0 * LIGHT[i])).expect("light");
    let two = |i: usize, x: usize, _: usize| {
        let redder = if x < 100 { 1.5 } else { 0.5 };
        20.0 * LIGHT[i] * if i == 0 { redder } else { 1.0 }
    };
    let uneven = balance(&noisy(3, false, &two)).expect("light");
    let share = |found: &Balance, i: usize| found.gains.sigma[i] / found.gains.rgb[i];
    assert!(share(&uneven, 0) > 0.05, "{uneven:?}");
    assert!(share(&even, 0) < 0.02, "{even:?}");
    assert!((share(&uneven, 2) / share(&even, 2) - 1.0).abs() < 0.2);
}

#[test]
fn noise_is_no_patch() {
    for seed in 0..60 {
        for smooth in [false, true] {
            let error = balance(&noisy(seed, smooth, &|_, _, _| 0.0)).expect_err("noise");
            let BalanceError::PatchDark { dim } = &error else {
                panic!("{seed} {smooth}: {error}");
            };
            assert_eq!(dim.len(), 3, "{seed} {smooth}: {error}");
        }
    }
}

#[test]
fn the_channel_without_light_is_named() {
    let light = |i: usize, _: usize, _: usize| [8.0, 8.0, 0.0][i];
    let error = balance(&noisy(5, false, &light)).expect_err("no blue");
    let text = error.to_string();
    assert!(text.contains("blue") && !text.contains("red"), "{text}");
    for way in ["larger", "stars", "catalogue", "gains"] {
        assert!(error.hint().contains(way), "{way}: {}", error.hint());
    }
}

#[test]
fn a_patch_becomes_neutral_above_the_sky() {
    let sky = Sky::new(&stars(60, 8), false, f64::INFINITY);
    let mut planes = sky.planes.clone();
    for (index, plane) in planes.iter_mut().enumerate() {
        let mut values = plane.values().clone();
        let light = [40.0, 80.0, 160.0][index];
        values
            .slice_mut(ndarray::s![100..140, 200..260])
            .fill((SKY[index] + light) as f32);
        values[[110, 210]] = f32::NAN;
        *plane = Plane::new(values);
    }
    let lit = Sky {
        planes,
        lists: sky.lists.clone(),
    };
    let rows = [
        &lit.planes[0] as _,
        &lit.planes[1] as _,
        &lit.planes[2] as _,
    ];
    let level = neutral_sky(rows).expect("in memory");
    for i in 0..3 {
        assert!((level[i].level - SKY[i]).abs() < 0.5, "{level:?}");
    }
    let patch = |corner, width, height| Patch {
        corner,
        width,
        height,
    };
    let found =
        by_patch(&lit.channels(), patch([200, 100], 60, 40), level, [None; 3]).expect("a balance");
    assert!((found.gains.rgb[0] - 2.0).abs() < 0.02, "{found:?}");
    assert!((found.gains.rgb[2] - 0.5).abs() < 0.005, "{found:?}");
    let error = |patch| by_patch(&lit.channels(), patch, level, [None; 3]).expect_err("refused");
    assert!(matches!(
        error(patch([880, 0], 60, 40)),
        BalanceError::PatchOutside { .. }
    ));
    assert!(matches!(
        error(patch([0, 0], 0, 4)),
        BalanceError::PatchWithoutSize { .. }
    ));
    let empty = [210, 110];
    assert!(matches!(
        error(patch(empty, 1, 1)),
        BalanceError::PatchEmpty
    ));
    let huge = patch([usize::MAX, 3], 2, 2);
    assert!(matches!(error(huge), BalanceError::PatchOutside { .. }));
}
