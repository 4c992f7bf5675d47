//! Colours and gamuts.

use linehue::engine::color::oklab::oklch;
use linehue::engine::color::space::Space;
use linehue::engine::finish::gamut::hold_hue;
use linehue::engine::mix::assign::hue_vector;
use proptest::array::uniform3;
use proptest::prelude::*;
use proptest::sample::select;

use crate::draws::{between, cases, logarithmic};

fn luminance(light: [f64; 3], weights: [f64; 3]) -> f64 {
    (0..3).map(|i| light[i] * weights[i]).sum()
}

proptest! {
    #![proptest_config(cases(8192))]

    /// Protects colours that a space can show: they pass to the bit.
    #[test]
    fn colors_inside_the_space_stay(light in uniform3(between(0.0, 1.0)), space in select(Space::ALL.to_vec())) {
        let weights = space.luminance_weights().map(|weight| weight as f32);
        prop_assert_eq!(hold_hue(light, weights).map(f32::to_bits), light.map(f32::to_bits));
    }

    /// Protects the picture from colours beyond it: whatever light comes, all
    /// components end in 0..1.
    #[test]
    fn any_light_ends_inside_the_space(
        light in uniform3(prop_oneof![between(-2.0, 3.0), between(-1e9, 1e9), between(-1e-30, 1e-30)]),
        space in select(Space::ALL.to_vec()),
    ) {
        let weights = space.luminance_weights().map(|weight| weight as f32);
        for component in hold_hue(light, weights) {
            prop_assert!((0.0..=1.0).contains(&component), "{}", component);
        }
    }

    /// Protects brightness: lifting a negative component to 0 leaves the
    /// luminance as it was.
    #[test]
    fn lifting_negative_light_keeps_the_luminance(
        mut light in uniform3(between(0.0, 0.8)),
        below in 0_usize..3,
        depth in between(0.001, 0.4),
        space in select(Space::ALL.to_vec()),
    ) {
        light[below] = -depth;
        let weights = space.luminance_weights();
        let before = luminance(light.map(f64::from), weights);
        let held = hold_hue(light, weights.map(|weight| weight as f32));
        prop_assert!(held[below] < 1e-6, "{:?}", held);
        if before < -1e-6 {
            // No grey has such a luminance: black.
            prop_assert_eq!(held, [0.0; 3]);
        } else {
            let after = luminance(held.map(f64::from), weights);
            prop_assert!((after - before).abs() < 2e-6, "{} became {}", before, after);
        }
    }

    /// Protects the hue sliders: a hue as bright as its strength never asks for
    /// light that is not there, and the pure colour has the hue it was asked for.
    #[test]
    fn a_hue_lies_between_nothing_and_its_strength(
        hue in -720.0..720.0,
        saturation in 0.0..=1.0,
        strength in logarithmic(-6.0, 6.0),
    ) {
        for component in hue_vector(hue, saturation, strength) {
            prop_assert!((0.0..=strength).contains(&component), "{}", component);
        }
        let [_, _, back] = oklch(hue_vector(hue, 1.0, strength));
        let off = (back - hue + 180.0).rem_euclid(360.0) - 180.0;
        prop_assert!(off.abs() < 1e-5, "{} came back as {}", hue, back);
    }
}
