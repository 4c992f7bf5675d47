//! Random recipes, and the numbers and words in them, for property tests.

use std::collections::BTreeMap;

use linehue::engine::mix::assign::natural_color;
use linehue::engine::recipe::{
    About, Align, AlignMethod, Balance, BalancedBy, Blend, Channel, ColorValue, Crop, Gamut,
    KeepOut, Level, Luminance, Ratio, Recipe, Rendition, Scale, Shape, ShowStars, StarLook,
    Stretch, VERSION,
};
use proptest::array::{uniform2, uniform3, uniform4};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

/// Channels of a random recipe, at most.
const CHANNELS: usize = 4;

/// Any finite number, the smallest and the largest among them.
pub fn finite() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    prop_oneof![
        3 => -1e5..1e5,
        1 => POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO,
    ]
}

/// From `10^low` to `10^high`, each power of ten as likely as the next.
pub fn logarithmic(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (low..=high).prop_map(|exponent| libm::pow(10.0, exponent))
}

/// Single precision between two ends. Drawn from whole numbers: proptest's own
/// ranges of `f32` stumble over their rounding once in some million draws.
pub fn between(low: f32, high: f32) -> impl Strategy<Value = f32> {
    any::<u32>().prop_map(move |dice| {
        let share = f64::from(dice) / f64::from(u32::MAX);
        (f64::from(low) + share * f64::from(high - low)) as f32
    })
}

/// Any text: quotation marks, line ends, control characters, any script.
pub fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        2 => "(?s).{0,12}",
        1 => "[\"'\\\\\n\r\t #=\\[\\]]{0,8}",
    ]
}

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
pub fn curve() -> impl Strategy<Value = Vec<[f64; 2]>> {
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
pub fn shape() -> impl Strategy<Value = (Shape, Option<f64>)> {
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

pub fn stretch() -> impl Strategy<Value = Stretch> {
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

pub fn recipe() -> impl Strategy<Value = Recipe> {
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
