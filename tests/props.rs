//! What holds for every recipe, every stretch, every colour: tried on random
//! ones. When one fails, the smallest like it is printed.

use std::collections::BTreeMap;

use linehue::engine::caption::{Caption, Seen};
use linehue::engine::color::oklab::oklch;
use linehue::engine::color::space::Space;
use linehue::engine::compose::{Codes, Composition};
use linehue::engine::finish::gamut::hold_hue;
use linehue::engine::frame::Depth;
use linehue::engine::mix::assign::{hue_vector, natural_color};
use linehue::engine::num::LANES;
use linehue::engine::recipe::{
    About, Align, AlignMethod, Balance, BalancedBy, Blend, Channel, ColorValue, Crop, Gamut,
    KeepOut, Level, Luminance, Ratio, Recipe, Rendition, Scale, Shape, ShowStars, StarLook,
    Stretch, VERSION, check, text,
};
use linehue::engine::stretch::Prepared;
use linehue::io::record::{
    self, AlignEntry, AssignmentEntry, Composite, ContinuumEntry, Distortion, Input, LevelEntry,
    NoiseEntry, Record, ShownColor, Software, StarsEntry,
};
use proptest::array::{uniform2, uniform3, uniform4, uniform7};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

/// Channels of a random recipe, at most.
const CHANNELS: usize = 4;

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        // A failure prints what it needs; nothing is left beside the sources.
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

// ---- Numbers and words ----

/// Any finite number, the smallest and the largest among them.
fn finite() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    prop_oneof![
        3 => -1e5..1e5,
        1 => POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO,
    ]
}

/// From `10^low` to `10^high`, each power of ten as likely as the next.
fn logarithmic(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (low..=high).prop_map(|exponent| libm::pow(10.0, exponent))
}

/// Single precision between two ends. Drawn from whole numbers: proptest's own
/// ranges of `f32` stumble over their rounding once in some million draws.
fn between(low: f32, high: f32) -> impl Strategy<Value = f32> {
    any::<u32>().prop_map(move |dice| {
        let share = f64::from(dice) / f64::from(u32::MAX);
        (f64::from(low) + share * f64::from(high - low)) as f32
    })
}

/// Any text: quotation marks, line ends, control characters, any script.
fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        2 => "(?s).{0,12}",
        1 => "[\"'\\\\\n\r\t #=\\[\\]]{0,8}",
    ]
}

// ---- Recipes ----

fn about() -> impl Strategy<Value = About> {
    (words(), words(), words(), words(), words()).prop_map(
        |(title, object, creator, credit, rights)| About {
            title,
            object,
            creator,
            credit,
            rights,
        },
    )
}

fn align() -> impl Strategy<Value = Align> {
    let by_itself = select(vec![AlignMethod::Stars, AlignMethod::Wcs]).prop_map(|method| Align {
        method,
        matrix: None,
    });
    // A small turn or scaling always has an inverse.
    let given = (
        uniform4(-0.3..0.3),
        uniform2(finite()),
        uniform2(-1e-5..1e-5),
    )
        .prop_map(|([a, b, d, e], [c, f], [g, h])| Align {
            method: AlignMethod::Given,
            matrix: Some([[1.0 + a, b, c], [d, 1.0 + e, f], [g, h, 1.0]]),
        });
    prop_oneof![by_itself, given]
}

fn keep_out() -> impl Strategy<Value = KeepOut> {
    let circle = (finite(), finite(), logarithmic(-3.0, 5.0))
        .prop_map(|(x, y, radius)| KeepOut::Circle([x, y, radius]));
    let polygon = vec(uniform2(finite()), 3..7).prop_map(KeepOut::Polygon);
    prop_oneof![circle, polygon]
}

fn level() -> impl Strategy<Value = Level> {
    let model = prop_oneof![
        (1_u8..=3).prop_map(|degree| (Some(degree), None)),
        (0.1..=1.0).prop_map(|smooth| (None, Some(smooth))),
    ];
    (model, any::<bool>(), vec(keep_out(), 0..3)).prop_map(|((degree, smooth), zero, keep_out)| {
        Level {
            degree,
            smooth,
            zero,
            keep_out,
        }
    })
}

/// A curve that never falls; it may rest, start late and end early.
fn curve() -> impl Strategy<Value = Vec<[f64; 2]>> {
    vec(
        (0.0..=1.0, prop_oneof![0.0..=1.0, select(vec![0.0, 1.0])]),
        2..7,
    )
    .prop_filter_map("x must rise", |points| {
        let (mut x, mut y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
        x.sort_by(f64::total_cmp);
        y.sort_by(f64::total_cmp);
        x.dedup();
        let points: Vec<[f64; 2]> = x.into_iter().zip(y).map(|(x, y)| [x, y]).collect();
        (points.len() >= 2).then_some(points)
    })
}

/// A shape with an amount: what a slider offers, and what only a text can hold.
fn shape() -> impl Strategy<Value = (Shape, Option<f64>)> {
    let amounts = |shape, low, high| {
        prop_oneof![3 => logarithmic(low, high), 1 => logarithmic(-200.0, 200.0)]
            .prop_map(move |amount| (shape, Some(amount)))
    };
    let bias = prop_oneof![
        3 => 0.01..0.99,
        1 => logarithmic(-11.0, -0.5),
        1 => logarithmic(-9.0, -0.5).prop_map(|rest| 1.0 - rest),
    ];
    prop_oneof![
        option::of(finite()).prop_map(|unused| (Shape::Linear, unused)),
        amounts(Shape::Asinh, -2.0, 5.0),
        amounts(Shape::Log, -2.0, 6.0),
        amounts(Shape::Power, -1.5, 1.5),
        bias.prop_map(|amount| (Shape::Bias, Some(amount))),
    ]
}

fn stretch() -> impl Strategy<Value = Stretch> {
    let ends = prop_oneof![
        3 => (-1e5..1e5, logarithmic(-3.0, 6.0)),
        1 => (-1.0..1.0, logarithmic(-7.0, 0.0)),
        1 => (finite(), logarithmic(-30.0, 30.0)),
    ];
    (ends, shape(), option::of(curve()))
        .prop_map(|((black, range), (shape, amount), curve)| Stretch {
            black,
            white: black + range,
            shape,
            amount,
            curve,
        })
        .prop_filter("white lies above black", |stretch| {
            let range = stretch.white - stretch.black;
            range > 0.0 && range.is_finite() && (1.0 / range).is_finite()
        })
}

fn channel() -> impl Strategy<Value = Channel> {
    let names = (
        "[a-z0-9_-]{0,6}",
        words(),
        select(vec!["Ha", "OIII", "SII", "NII", "L", "R", "G", "B", "ha"]),
    );
    let passband = (
        option::of(300.0..1100.0),
        option::of(logarithmic(-2.0, 2.5)),
        option::of(logarithmic(-3.0, 7.0)),
    );
    let place = (option::of(0_usize..1000), option::of(0_usize..1000));
    let steps = (
        option::of(align()),
        option::of(level()),
        stretch(),
        option::of(0.0..=1.0),
    );
    (names, passband, place, steps).prop_map(
        |((id, file, line), (center_nm, width_nm, exposure_s), (plane, hdu), steps)| Channel {
            id,
            file: format!("lantern{file}.fits"),
            line: line.to_owned(),
            center_nm,
            width_nm,
            exposure_s,
            plane,
            hdu,
            align: steps.0,
            level: steps.1,
            continuum: None,
            denoise: steps.3,
            stretch: steps.2,
        },
    )
}

/// All four notations.
fn color() -> impl Strategy<Value = ColorValue> {
    let light = || prop_oneof![4 => -2.0..2.0, 1 => -1e9..=1e9];
    let css = prop_oneof![
        "#[0-9a-f]{6}",
        (0.0..1.0, 0.0..0.4, 0.0..360.0)
            .prop_map(|(l, c, h)| format!("oklch({l:.4} {c:.4} {h:.2})")),
        uniform3(0.0..=1.0).prop_map(|[r, g, b]| format!("color(display-p3 {r:.5} {g:.5} {b:.5})")),
        select(vec!["teal", "crimson", "rgb(12 200 90)"]).prop_map(str::to_owned),
    ];
    prop_oneof![
        css.prop_map(ColorValue::Css),
        uniform3(light()).prop_map(ColorValue::Vector),
        (finite(), 0.0..=2.0, logarithmic(-9.0, 9.0)).prop_map(|(hue, saturation, strength)| {
            ColorValue::Hue {
                hue,
                saturation,
                strength,
            }
        }),
        Just(ColorValue::Natural),
    ]
}

fn balance() -> impl Strategy<Value = Balance> {
    let by = select(vec![
        BalancedBy::Hand,
        BalancedBy::Stars,
        BalancedBy::Star,
        BalancedBy::Patch,
        BalancedBy::Catalogue,
    ]);
    (
        uniform3(logarithmic(-6.0, 6.0)),
        option::of(uniform3(finite())),
        by,
        option::of(uniform3(0.0..1.0)),
        option::of(0_usize..10_000),
        option::of(words()),
    )
        .prop_map(|(gains, sky, by, uncertainty, stars, catalogue)| Balance {
            gains,
            sky,
            by,
            uncertainty,
            stars,
            catalogue,
        })
}

/// Broadband stars need channels that are not always there.
fn stars() -> impl Strategy<Value = StarLook> {
    let show = select(vec![
        ShowStars::AsMixed,
        ShowStars::Neutral,
        ShowStars::None,
    ]);
    (show, 0.3..=1.0, 0.0..=3.0).prop_map(|(show, size, brightness)| StarLook {
        show,
        size,
        brightness,
    })
}

/// A rendition of the first channels of the list; see [`name`].
fn rendition() -> impl Strategy<Value = (Rendition, Vec<Option<ColorValue>>, Option<Weights>)> {
    let plain = (
        "[a-z0-9_-]{0,6}",
        select(vec![Blend::Light, Blend::Tone, Blend::Screen]),
        option::of(select(vec![Gamut::HoldHue, Gamut::Clip])),
        option::of(prop_oneof![4 => 0.0..3.0, 1 => 0.0..=1e6, 1 => Just(1.0)]),
        any::<bool>(),
        (
            option::of(balance()),
            option::of(stars()),
            option::of(0.0..=1.0),
        ),
    )
        .prop_map(|(id, blend, gamut, saturation, eye, rest)| Rendition {
            id,
            blend,
            gamut,
            saturation,
            luminance: None,
            balance: rest.0,
            stars: rest.1,
            smooth_color: rest.2,
            eye,
            colors: BTreeMap::new(),
        });
    let weight = prop_oneof![Just(0.0), logarithmic(-9.0, 9.0)];
    let luminance = (
        vec(option::of(weight), CHANNELS),
        0.0..=1.0,
        option::of(stretch()),
        option::of(0.0..=1.0),
    )
        .prop_map(|(from, amount, stretch, detail)| Weights {
            from,
            amount,
            stretch,
            detail,
        });
    (
        plain,
        vec(option::of(color()), CHANNELS),
        option::of(luminance),
    )
}

#[derive(Debug, Clone)]
struct Weights {
    from: Vec<Option<f64>>,
    amount: f64,
    stretch: Option<Stretch>,
    detail: Option<f64>,
}

/// Gives a rendition's colours and weights to the channels that are there, at
/// least one each.
fn name(
    (mut rendition, colors, luminance): (Rendition, Vec<Option<ColorValue>>, Option<Weights>),
    channels: &[Channel],
) -> Rendition {
    for (channel, color) in channels.iter().zip(colors) {
        let visible = natural_color(&channel.line, channel.center_nm).is_some();
        if let Some(color) = color.filter(|color| visible || *color != ColorValue::Natural) {
            rendition.colors.insert(channel.id.clone(), color);
        }
    }
    let first = || channels[0].id.clone();
    if rendition.colors.is_empty() {
        let amber = ColorValue::Css("#e0a040".to_owned());
        rendition.colors.insert(first(), amber);
    }
    rendition.luminance = luminance.map(|weights| {
        let Weights {
            from,
            amount,
            stretch,
            detail,
        } = weights;
        let weights = channels.iter().zip(from);
        let mut from: BTreeMap<String, f64> = weights
            .filter_map(|(channel, weight)| Some((channel.id.clone(), weight?)))
            .collect();
        if from.values().all(|weight| *weight == 0.0) {
            from.insert(first(), 1.0);
        }
        Luminance {
            amount,
            stretch,
            detail,
            ..Luminance::of(from)
        }
    });
    rendition
}

/// A ratio, and the index of the channel that is divided.
fn ratio() -> impl Strategy<Value = (usize, Ratio)> {
    let range = (0.0..5.0, logarithmic(-3.0, 3.0)).prop_map(|(low, more)| [low, low + more]);
    let scale = select(vec![Scale::Linear, Scale::Log]);
    (
        0..CHANNELS,
        "[a-z0-9_-]{0,6}",
        1.0..1000.0,
        1_u32..=16,
        option::of(range),
        scale,
    )
        .prop_map(|(over, id, min_snr, bin, range, scale)| {
            let ratio = Ratio {
                min_snr,
                bin,
                // No scale of factors begins at 0.
                range: range.filter(|[low, _]| *low > 0.0),
                scale,
                ..Ratio::of(&id, "", "")
            };
            (over, ratio)
        })
}

fn recipe() -> impl Strategy<Value = Recipe> {
    let crop = prop_oneof![
        Just(Crop::Common),
        uniform4(0_usize..100_000).prop_map(Crop::Part),
    ];
    (
        option::of(0..CHANNELS),
        option::of(crop),
        prop_oneof![Just(About::default()), about()],
        vec(channel(), 1..=CHANNELS),
        vec(rendition(), 1..3),
        vec(ratio(), 0..3),
    )
        .prop_map(
            |(reference, crop, about, mut channels, renditions, ratios)| {
                // Ids that end in different numbers differ.
                for (index, channel) in channels.iter_mut().enumerate() {
                    channel.id.push_str(&index.to_string());
                }
                let mut renditions: Vec<Rendition> = renditions
                    .into_iter()
                    .map(|rendition| name(rendition, &channels))
                    .collect();
                for (index, rendition) in renditions.iter_mut().enumerate() {
                    rendition.id.push_str(&index.to_string());
                }
                let ratios = ratios
                    .into_iter()
                    .enumerate()
                    .filter_map(|(index, (over, mut ratio))| {
                        ratio.id.push_str(&index.to_string());
                        ratio.over = channels.get(over)?.id.clone();
                        ratio.under = channels.get((over + 1) % channels.len())?.id.clone();
                        (ratio.over != ratio.under).then_some(ratio)
                    })
                    .collect();
                Recipe {
                    recipe: VERSION,
                    reference: reference
                        .and_then(|index| channels.get(index))
                        .map(|channel| channel.id.clone()),
                    crop,
                    about,
                    channels,
                    renditions,
                    ratios,
                }
            },
        )
}

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
