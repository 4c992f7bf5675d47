//! Pictures: blends, and settings that change nothing.

use linehue::engine::color::space::Space;
use linehue::engine::compose::{Codes, Composition};
use linehue::engine::frame::Depth;
use linehue::engine::recipe::{
    About, Blend, Channel, ColorValue, Gamut, Luminance, Recipe, Rendition, Stretch, VERSION, check,
};
use proptest::array::uniform3;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

use crate::draws::{between, cases, logarithmic};
use crate::recipes::{curve, shape};

/// A sound recipe of three channels in 0..1 with the given colours.
fn three_channels(colors: [[f64; 3]; 3], stretches: [Stretch; 3]) -> Recipe {
    let ids = ["ha", "oiii", "sii"];
    let lines = ["Ha", "OIII", "SII"];
    let channels = stretches.into_iter().enumerate();
    Recipe {
        recipe: VERSION,
        reference: None,
        crop: None,
        about: About::default(),
        channels: channels
            .map(|(index, stretch)| Channel {
                id: ids[index].to_owned(),
                file: format!("lantern-{}.fits", ids[index]),
                line: lines[index].to_owned(),
                center_nm: None,
                width_nm: None,
                exposure_s: None,
                plane: None,
                hdu: None,
                align: None,
                level: None,
                continuum: None,
                denoise: None,
                stretch,
            })
            .collect(),
        renditions: vec![Rendition {
            id: "mapped".to_owned(),
            blend: Blend::Light,
            gamut: None,
            saturation: None,
            luminance: None,
            balance: None,
            stars: None,
            smooth_color: None,
            eye: false,
            colors: ids
                .into_iter()
                .zip(colors)
                .map(|(id, color)| (id.to_owned(), ColorValue::Vector(color)))
                .collect(),
        }],
        ratios: Vec::new(),
    }
}

/// A stretch of values in 0..1.
fn stretch_of_unit() -> impl Strategy<Value = Stretch> {
    (shape(), option::of(curve())).prop_map(|((shape, amount), curve)| Stretch {
        black: 0.0,
        white: 1.0,
        shape,
        amount,
        curve,
    })
}

/// The codes of a picture, 16 bits, with a change made to its rendition.
fn codes(
    recipe: &Recipe,
    space: Space,
    pixels: &[[f32; 3]],
    change: impl FnOnce(&mut Rendition),
) -> Vec<u16> {
    let mut recipe = recipe.clone();
    change(&mut recipe.renditions[0]);
    assert_eq!(check::whole(&recipe), Ok(()));
    let composition = Composition::new(&recipe, &recipe.renditions[0], space, Depth::Sixteen)
        .expect("a checked recipe");
    let planes: [Vec<f32>; 3] =
        std::array::from_fn(|channel| pixels.iter().map(|pixel| pixel[channel]).collect());
    let inputs: Vec<&[f32]> = composition
        .channels()
        .map(|channel| planes[channel].as_slice())
        .collect();
    let mut codes = vec![0; 3 * pixels.len()];
    composition.run(&inputs, Codes::U16(&mut codes));
    codes
}

fn largest_difference(a: &[u16], b: &[u16]) -> u16 {
    assert_eq!(a.len(), b.len());
    let differences = a.iter().zip(b).map(|(a, b)| a.abs_diff(*b));
    differences.max().unwrap_or(0)
}

const PRIMARIES: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

fn pixels() -> impl Strategy<Value = Vec<[f32; 3]>> {
    vec(uniform3(between(-0.1, 1.1)), 1..300)
}

proptest! {
    #![proptest_config(cases(512))]

    /// Protects the meaning of the three blends: where channels do not share a
    /// primary there is nothing to blend, and all three are plain RGB.
    #[test]
    fn blends_agree_on_separate_primaries(
        stretches in uniform3(stretch_of_unit()),
        space in select(Space::ALL.to_vec()),
        gamut in option::of(select(vec![Gamut::HoldHue, Gamut::Clip])),
        pixels in pixels(),
    ) {
        let recipe = three_channels(PRIMARIES, stretches);
        let with = |blend| codes(&recipe, space, &pixels, |rendition| {
            rendition.blend = blend;
            rendition.gamut = gamut;
        });
        let light = with(Blend::Light);
        for blend in [Blend::Tone, Blend::Screen] {
            let apart = largest_difference(&light, &with(blend));
            prop_assert!(apart <= 1, "{:?}: {} codes", blend, apart);
        }
    }

    /// Protects the resting point of two sliders: at saturation 1 and
    /// luminance 0 the mix is left alone.
    #[test]
    fn neutral_settings_change_nothing(
        stretches in uniform3(stretch_of_unit()),
        colors in uniform3(uniform3(-0.5..1.5)),
        blend in select(vec![Blend::Light, Blend::Tone, Blend::Screen]),
        gamut in option::of(select(vec![Gamut::HoldHue, Gamut::Clip])),
        space in select(Space::ALL.to_vec()),
        weights in uniform3(logarithmic(-2.0, 2.0)),
        pixels in pixels(),
    ) {
        let recipe = three_channels(colors, stretches);
        let with = |saturation: Option<f64>, luminance: Option<Luminance>| {
            codes(&recipe, space, &pixels, |rendition| {
                rendition.blend = blend;
                rendition.gamut = gamut;
                rendition.saturation = saturation;
                rendition.luminance = luminance;
            })
        };
        let ids = recipe.channels.iter().map(|channel| channel.id.clone());
        let nothing = Luminance { amount: 0.0, ..Luminance::of(ids.zip(weights).collect()) };
        let plain = with(None, None);
        for (saturation, luminance) in [
            (Some(1.0), None),
            (None, Some(nothing.clone())),
            (Some(1.0), Some(nothing)),
        ] {
            let apart = largest_difference(&plain, &with(saturation, luminance));
            prop_assert!(apart <= 1, "{:?}: {} codes", saturation, apart);
        }
    }
}
