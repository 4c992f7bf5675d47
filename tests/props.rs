//! What holds for every recipe, every stretch, every colour: tried on random
//! ones. When one fails, the smallest like it is printed.

use std::collections::BTreeMap;

use linehue::engine::caption::{Caption, Seen};
use linehue::engine::color::oklab::oklch;
use linehue::engine::color::space::Space;
use linehue::engine::compose::{Codes, Composition};
use linehue::engine::finish::gamut::hold_hue;
use linehue::engine::frame::Depth;
use linehue::engine::mix::assign::hue_vector;
use linehue::engine::num::LANES;
use linehue::engine::recipe::{
    About, Blend, Channel, ColorValue, Gamut, Luminance, Recipe, Rendition, Stretch, VERSION,
    check, text,
};
use linehue::engine::stretch::Prepared;
use linehue::io::record::{
    self, AlignEntry, AssignmentEntry, Composite, ContinuumEntry, Distortion, Input, LevelEntry,
    NoiseEntry, Record, ShownColor, Software, StarsEntry,
};
use proptest::array::{uniform2, uniform3, uniform7};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

#[path = "support/recipes.rs"]
mod recipes;

use recipes::*;

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        // A failure prints what it needs; nothing is left beside the sources.
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

// ---- Recipes ----

proptest! {
    #![proptest_config(cases(1024))]

    /// Protects edits: what the window or an editor saves is what is opened
    /// again, to the last digit, whatever the user wrote.
    #[test]
    fn a_recipe_reads_back_as_it_was_written(recipe in recipe()) {
        prop_assert_eq!(check::whole(&recipe), Ok(()));
        let written = text::write(&recipe).expect("a checked recipe");
        let read = text::parse(&written, "props");
        prop_assert_eq!(read, Ok(recipe), "{}", written);
    }
}

// ---- Records ----

fn header() -> impl Strategy<Value = BTreeMap<String, serde_json::Value>> {
    let value = prop_oneof![
        words().prop_map(serde_json::Value::from),
        any::<i64>().prop_map(serde_json::Value::from),
        finite().prop_map(serde_json::Value::from),
        any::<bool>().prop_map(serde_json::Value::from),
    ];
    btree_map("[A-Z0-9-]{1,8}", value, 0..4)
}

fn align_entry() -> impl Strategy<Value = AlignEntry> {
    let distortion = (
        uniform2(finite()),
        finite(),
        uniform7(finite()),
        uniform7(finite()),
    )
        .prop_map(|(center, scale, x, y)| Distortion {
            center,
            scale,
            x,
            y,
        });
    (
        words(),
        uniform3(uniform3(finite())),
        option::of(distortion),
        option::of(any::<usize>()),
        option::of(finite()),
    )
        .prop_map(|(model, matrix, distortion, stars, rms_px)| AlignEntry {
            method: "stars".to_owned(),
            model,
            matrix,
            distortion,
            resampling: "lanczos3".to_owned(),
            stars,
            rms_px,
        })
}

fn level_entry() -> impl Strategy<Value = LevelEntry> {
    (words(), finite(), option::of(finite()), any::<[usize; 2]>()).prop_map(
        |(kind, amplitude, amplitude_over_noise, [samples, refused])| LevelEntry {
            kind,
            amplitude,
            amplitude_over_noise,
            samples,
            refused,
        },
    )
}

type PartEntries = (
    Option<ContinuumEntry>,
    Option<NoiseEntry>,
    Option<StarsEntry>,
);

fn part_entries() -> impl Strategy<Value = PartEntries> {
    let continuum = (
        words(),
        finite(),
        option::of(finite()),
        option::of(any::<usize>()),
        option::of(finite()),
    )
        .prop_map(
            |(from, scale, uncertainty, stars, blur_px)| ContinuumEntry {
                from,
                scale,
                uncertainty,
                stars,
                blur_px,
            },
        );
    let noise = (finite(), finite(), words()).prop_map(|(brightness, color, method)| NoiseEntry {
        brightness,
        color,
        method,
    });
    let stars =
        (any::<[usize; 2]>(), option::of(finite())).prop_map(|([stars, saturated], fwhm_px)| {
            StarsEntry {
                stars,
                saturated,
                fwhm_px,
            }
        });
    (option::of(continuum), option::of(noise), option::of(stars))
}

fn input() -> impl Strategy<Value = Input> {
    (
        words(),
        any::<[usize; 2]>(),
        uniform3(option::of(finite())),
        header(),
        option::of(align_entry()),
        option::of(level_entry()),
        part_entries(),
    )
        .prop_map(
            |(file, [width, height], [exposure_s, sky, noise], header, align, level, parts)| {
                Input {
                    channel: "ha0".to_owned(),
                    file,
                    sha256: "0f".repeat(32),
                    width,
                    height,
                    exposure_s,
                    header,
                    sky,
                    noise,
                    align,
                    level,
                    continuum: parts.0,
                    noise_smoothed: parts.1,
                    stars: parts.2,
                }
            },
        )
}

fn assignment() -> impl Strategy<Value = AssignmentEntry> {
    (
        words(),
        finite(),
        option::of(finite()),
        vec(words(), 0..3),
        uniform3(finite()),
        uniform3(finite()),
        any::<bool>(),
    )
        .prop_map(
            |(name, center_nm, width_nm, also_passes, linear_srgb, oklch, natural)| {
                AssignmentEntry {
                    channel: "ha0".to_owned(),
                    line: "Ha".to_owned(),
                    name,
                    center_nm,
                    width_nm,
                    also_passes,
                    css: "#e0603a".to_owned(),
                    linear_srgb,
                    oklch,
                    color_name: "Orange".to_owned(),
                    natural,
                    shown: natural.then(|| ShownColor {
                        css: "#e0603a".to_owned(),
                        color_name: "Orange".to_owned(),
                    }),
                }
            },
        )
}

fn record() -> impl Strategy<Value = Record> {
    (
        recipe(),
        (words(), select(Space::ALL.to_vec()), any::<[usize; 2]>()),
        uniform3(words()),
        vec(assignment(), 0..3),
        vec(input(), 0..3),
        option::of(finite()),
        option::of(any::<[usize; 4]>()),
        vec(words(), 0..3),
    )
        .prop_map(
            |(recipe, made, captions, assignments, inputs, integration_s, crop, notices)| {
                let (file, space, [width, height]) = made;
                let [short, long, alt] = captions;
                Record {
                    record: record::VERSION,
                    software: Software {
                        name: "Linehue".to_owned(),
                        version: "0.1.0".to_owned(),
                    },
                    made_at: "2031-03-05T21:14:07Z".to_owned(),
                    composite: Composite {
                        file,
                        sha256: "a1".repeat(32),
                        pixels_sha256: "b2".repeat(32),
                        width,
                        height,
                        space,
                        depth: "16".to_owned(),
                        long_edge: None,
                    },
                    rendition: recipe.renditions[0].id.clone(),
                    assignments,
                    inputs,
                    recipe,
                    caption: Caption { short, long, alt },
                    integration_s,
                    crop,
                    seen: crop.and_then(|[width, ..]| {
                        let light = (width % 97) as f32 / 97.0;
                        Seen::measure(&[[light, 0.3, 0.1], [0.1, light, 0.2]], 2)
                    }),
                    notices,
                }
            },
        )
}

proptest! {
    #![proptest_config(cases(512))]

    /// Protects the record: a composite is made again to the last bit only if
    /// every number in it, recipe and measurements alike, survives its text.
    #[test]
    fn a_record_reads_back_as_it_was_written(record in record()) {
        let written = record::write(&record).expect("finite numbers");
        let read = record::parse(written.as_bytes());
        prop_assert_eq!(read, Ok(record), "{}", written);
    }
}

// ---- Stretches ----

/// Values in file units across a stretch: even steps, fine ones near black
/// where shapes are steepest, and some beyond both ends. Rising, single
/// precision, as a stack holds them.
fn values_across(stretch: &Stretch) -> [f32; LANES] {
    let range = stretch.white - stretch.black;
    let mut values: [f32; LANES] = std::array::from_fn(|i| {
        let t = match i {
            0..96 => libm::pow(10.0, -9.6 + i as f64 / 10.0),
            _ => (i as f64 - 100.0) / 150.0,
        };
        let value = (stretch.black + t * range) as f32;
        value.clamp(f32::MIN, f32::MAX)
    });
    values.sort_by(f32::total_cmp);
    values
}

/// How far a block may lie from the formula: less than two thirds of a 16-bit
/// code, whatever the curve.
const ALLOWED: f64 = 1e-5;

proptest! {
    #![proptest_config(cases(4096))]

    /// Protects the order of brightness: no stretch may turn a brighter pixel
    /// darker, nor leave 0..1, by either way of working it out; and what a
    /// picture is made with is what the formula says, to a quarter of a 16-bit
    /// code.
    #[test]
    fn tones_rise_with_values_and_blocks_follow_the_formula(stretch in stretch()) {
        let values = values_across(&stretch);
        let prepared = Prepared::new(&stretch);
        let range = stretch.white - stretch.black;
        let exact = values.map(|value| prepared.tone(f64::from(value)));
        let mut tones = [0.0; LANES];
        prepared.tones(&values, &mut tones);
        for tone in exact {
            prop_assert!((0.0..=1.0).contains(&tone), "{}", tone);
        }
        for tone in tones {
            prop_assert!((0.0..=1.0).contains(&tone), "{}", tone);
        }
        for i in 1..LANES {
            prop_assert!(exact[i] >= exact[i - 1] - 1e-15, "{} after {}", exact[i], exact[i - 1]);
            prop_assert!(tones[i] >= tones[i - 1] - 3e-7, "{} after {}", tones[i], tones[i - 1]);
        }
        for i in 0..LANES {
            // Single precision holds no normal number below that: it is black.
            let t = (f64::from(values[i]) - stretch.black) / range;
            if t < f64::from(f32::MIN_POSITIVE) {
                continue;
            }
            let apart = (f64::from(tones[i]) - exact[i]).abs();
            prop_assert!(apart < ALLOWED, "{} at {}: {} from {}", apart, values[i], tones[i], exact[i]);
        }
    }
}

// ---- Colours ----

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

// ---- Pictures ----

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
