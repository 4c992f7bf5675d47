//! Random records, and that each reads back as it was written.

use std::collections::BTreeMap;

use linehue::engine::caption::{Caption, Seen};
use linehue::engine::color::space::Space;
use linehue::io::record::{
    self, AlignEntry, AssignmentEntry, Composite, ContinuumEntry, Distortion, Input, LevelEntry,
    NoiseEntry, Record, ShownColor, Software, StarsEntry,
};
use proptest::array::{uniform2, uniform3, uniform7};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

use crate::draws::{cases, finite, words};
use crate::recipes::recipe;

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
    let stars = (
        any::<[usize; 2]>(),
        option::of(finite()),
        vec(words(), 0..3),
        words(),
    )
        .prop_map(|([stars, saturated], fwhm_px, with, method)| StarsEntry {
            stars,
            saturated,
            fwhm_px,
            with,
            method,
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
