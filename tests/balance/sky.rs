//! What is black in common.
//!
//! Protects that the sky between nebula and stars turns neutral, however much of
//! the field faint nebula of one colour fills.

use linehue::engine::balance::{SkyLevel, neutral_sky};
use linehue::engine::frame::{Plane, Size};

use super::scene::Draw;
use super::{NOISE, SKY};

const WIDE: Size = Size {
    width: 640,
    height: 420,
};

// Sky and noise with the light that `light` says of channel, column and row.
fn planes(round: bool, light: &dyn Fn(usize, usize, usize) -> f64) -> [Plane; 3] {
    [0, 1, 2].map(|index: usize| {
        let mut draw = Draw::new(77 + index as u64);
        let mut values = Vec::with_capacity(WIDE.pixels());
        for y in 0..WIDE.height {
            for x in 0..WIDE.width {
                let value = SKY[index] + NOISE * draw.normal() + light(index, x, y);
                values.push(if round { value.round() } else { value } as f32);
            }
        }
        Plane::from_vec(WIDE, values).expect("the size fits")
    })
}

fn sky(planes: &[Plane; 3]) -> [SkyLevel; 3] {
    let rows = [&planes[0] as _, &planes[1] as _, &planes[2] as _];
    neutral_sky(rows).expect("in memory")
}

fn is_the_sky(found: [SkyLevel; 3], what: &str) {
    for (sky, truth) in found.iter().zip(SKY) {
        let off = (sky.level - truth).abs();
        assert!(off < 0.05 * NOISE, "{what}: {found:?}");
        assert!(
            off < 4.0 * sky.error && sky.error < 0.1 * NOISE,
            "{what}: {found:?}"
        );
    }
}

#[test]
fn faint_hydrogen_over_most_of_a_field_is_no_sky() {
    // Waves of red above the left three quarters, a little of it in blue.
    let hydrogen = |index: usize, x: usize, y: usize| {
        let wave = 1.0 + libm::sin(x as f64 / 40.0) * libm::cos(y as f64 / 50.0);
        let within = ((470.0 - x as f64) / 30.0).clamp(0.0, 1.0);
        [3.0, 0.0, 0.6][index] * NOISE * (0.6 + wave) * within
    };
    for round in [false, true] {
        is_the_sky(sky(&planes(round, &hydrogen)), "hydrogen");
    }
}

/// Light of each colour elsewhere: no block is the darkest in all three, but some
/// are dark in all.
#[test]
fn each_colour_may_have_its_own_nebula() {
    let light = |index: usize, x: usize, y: usize| {
        let there = [x < 300, (260..480).contains(&x), y < 210][index];
        if there { 4.0 * NOISE } else { 0.0 }
    };
    is_the_sky(sky(&planes(false, &light)), "three nebulae");
}

#[test]
fn an_even_sky_with_stars_is_as_it_is() {
    let stars = |_: usize, x: usize, y: usize| {
        let (x, y) = (x % 40, y % 40);
        if x < 3 && y < 3 { 300.0 * NOISE } else { 0.0 }
    };
    is_the_sky(sky(&planes(false, &stars)), "stars");
}

/// Zeros where a frame did not reach are not the darkest sky, and what is
/// missing in one channel tells nothing of the others.
#[test]
fn where_a_frame_did_not_reach_is_no_sky() {
    for nothing in [0.0, f32::NAN] {
        let made = planes(false, &|_, _, _| 0.0);
        let framed = [0, 1, 2].map(|index: usize| {
            let mut values = made[index].values().clone();
            let from = 500 - 40 * index;
            values.slice_mut(ndarray::s![.., from..]).fill(nothing);
            Plane::new(values)
        });
        is_the_sky(sky(&framed), "a rim");
    }
}

/// A fault that makes a block of one band dark tells nothing of where the sky is,
/// nor does a gap that was filled with zeros.
#[test]
fn faults_of_one_band_and_gaps_are_no_sky() {
    let light = |index: usize, x: usize, y: usize| {
        let there = [x < 480, x > 520 && y < 180, x > 520 && y < 180][index];
        let fault = index == 0 && x < 40 && y < 40;
        let dark = if fault { -9.0 } else { 0.0 };
        NOISE * (dark + if there { 4.0 } else { 0.0 })
    };
    let mut made = planes(false, &light);
    is_the_sky(sky(&made), "a fault");
    for plane in &mut made {
        let mut values = plane.values().clone();
        values.slice_mut(ndarray::s![240..330, 200..330]).fill(0.0);
        *plane = Plane::new(values);
    }
    is_the_sky(sky(&made), "a gap");
}

/// A picture of a few pixels, and one without a single valid one.
#[test]
fn small_and_empty_pictures_have_what_they_can() {
    let of = |size: Size, value: f32| {
        let plane = || Plane::from_vec(size, vec![value; size.pixels()]).expect("pixels");
        sky(&[plane(), plane(), plane()])
    };
    for (width, height) in [(1, 1), (3, 2), (40, 9)] {
        let size = Size { width, height };
        let found = of(size, 7.0);
        assert!(
            found.iter().all(|sky| sky.level == 7.0),
            "{size}: {found:?}"
        );
        assert!(of(size, f32::NAN).iter().all(|sky| sky.level.is_nan()));
    }
}
