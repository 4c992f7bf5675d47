#![expect(
    clippy::disallowed_methods,
    reason = "a check by the standard library's own functions"
)]

use super::*;
use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::color::vision::Vision;

/// sRGB's decoding (IEC 61966-2-1), by the standard library.
fn decode(value: f64) -> f64 {
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

fn linear(color: &ColorValue) -> [f64; 3] {
    match color {
        ColorValue::Vector(vector) => *vector,
        ColorValue::Css(text) => {
            let digits = text
                .strip_prefix('#')
                .filter(|digits| digits.len() == 6)
                .unwrap();
            [0, 2, 4].map(|at: usize| {
                decode(f64::from(u8::from_str_radix(&digits[at..at + 2], 16).unwrap()) / 255.0)
            })
        }
        other => panic!("built-in palettes hold no {other:?}"),
    }
}

/// The nearest two of some colours, at these tones.
fn apart(colors: &[[f64; 3]], vision: Vision, tones: &[f64]) -> f64 {
    let mut least = f64::INFINITY;
    for tone in tones {
        let seen: Vec<Lab> = colors
            .iter()
            .map(|color| color.map(|component| component * decode(*tone)))
            .map(|color| Lab::from_linear_srgb(vision.see(color)))
            .collect();
        for (index, one) in seen.iter().enumerate() {
            for two in &seen[..index] {
                least = least.min(ciede2000(*one, *two));
            }
        }
    }
    least
}

fn named(name: &str) -> &'static Palette {
    find(name, &[]).unwrap()
}

const OWN: [&str; 4] = ["lampwick", "saltmarsh", "moorland", "rockpool"];

/// The numbers in the files come from a NumPy implementation of CIEDE2000 and
/// of the three deficiencies.
#[test]
fn lines_stay_as_far_apart_as_the_files_say() {
    let mut checked = 0;
    for palette in built_in() {
        let Some(said) = palette.apart else { continue };
        let colors: Vec<[f64; 3]> = ["Ha", "OIII", "SII"]
            .iter()
            .filter_map(|id| palette.colors.get(*id))
            .map(linear)
            .collect();
        for (vision, said) in [
            (Vision::Usual, said.usual),
            (Vision::Protan, said.protan),
            (Vision::Deutan, said.deutan),
            (Vision::Tritan, said.tritan),
        ] {
            let measured = apart(&colors, vision, &[1.0, 0.75, 0.5]);
            assert!(
                (measured - said).abs() < 0.06,
                "{} {vision:?}: {measured}",
                palette.name
            );
            checked += 1;
        }
    }
    assert_eq!(checked, 15 * 4);
}

#[test]
fn our_own_serve_every_reader() {
    for name in OWN {
        let said = named(name).apart.unwrap();
        for difference in [said.usual, said.protan, said.deutan, said.tritan] {
            assert!(difference >= 20.0, "{name}: {difference}");
        }
        let all: Vec<[f64; 3]> = named(name).colors.values().map(linear).collect();
        assert_eq!(all.len(), 7);
        let least = apart(&all, Vision::Usual, &[1.0, 0.5]);
        assert!(least >= 20.0, "{name}: {least}");
    }
}

#[test]
fn every_palette_in_the_folder_is_built_in() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/assets/palettes");
    let mut files: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    files.sort();
    let mut ours: Vec<&str> = BUILT_IN.iter().map(|(file, _)| *file).collect();
    ours.sort();
    assert_eq!(files, ours);
    for (palette, (file, _)) in built_in().iter().zip(BUILT_IN) {
        assert_eq!(format!("{}.toml", palette.name.to_lowercase()), file);
        assert!(!palette.about.is_empty());
    }
}

/// Three letters: what stands in red, green and blue.
#[test]
fn letters_say_where_the_lines_go() {
    let mut letters = 0;
    for palette in built_in().iter().filter(|palette| palette.name.len() == 3) {
        let mut expected: BTreeMap<String, [f64; 3]> = BTreeMap::new();
        for (index, letter) in palette.name.chars().enumerate() {
            let id = match letter {
                'S' => "SII",
                'H' => "Ha",
                'O' => "OIII",
                other => panic!("no line is called {other}"),
            };
            expected.entry(id.to_owned()).or_default()[index] = 1.0;
        }
        let ours: BTreeMap<String, [f64; 3]> = palette
            .colors
            .iter()
            .map(|(id, color)| (id.clone(), linear(color)))
            .collect();
        assert_eq!(ours, expected, "{}", palette.name);
        assert_eq!(palette.needs.len(), expected.len());
        letters += 1;
    }
    assert_eq!(letters, 11);
}

#[test]
fn channels_get_the_colours_of_their_lines() {
    let channels = [
        ("ha", "Ha"),
        ("o3", "oiii"),
        ("s2", "SII"),
        ("lum", "L"),
        ("ar", "ArIII"),
    ];
    let colors = apply(named("SHO"), &channels).unwrap();
    assert_eq!(colors.len(), 3);
    assert_eq!(colors["o3"], ColorValue::Vector([0.0, 0.0, 1.0]));
    assert_eq!(colors["s2"], ColorValue::Vector([1.0, 0.0, 0.0]));

    let natural = apply(named("natural"), &channels).unwrap();
    assert_eq!(natural.len(), 5);
    assert!(natural.values().all(|color| *color == ColorValue::Natural));

    let twice = apply(named("HOO"), &[("a", "Ha"), ("b", "Ha"), ("c", "OIII")]).unwrap();
    assert_eq!(twice["a"], twice["b"]);

    let two = apply(named("lampwick"), &[("ha", "Ha"), ("oiii", "OIII")]).unwrap();
    assert_eq!(two.len(), 2);
}

#[test]
fn what_does_not_fit_is_said() {
    let two = [("ha", "Ha"), ("oiii", "OIII")];
    let error = apply(named("SHO"), &two).unwrap_err();
    assert_eq!(error.message, "SHO: no channel holds [S II]");
    assert!(
        error.hint.contains("HOO") && !error.hint.contains("SOO"),
        "{}",
        error.hint
    );

    let error = apply(named("saltmarsh"), &[("l", "L")]).unwrap_err();
    assert!(error.message.contains("no colour for the lines"), "{error}");

    let error = apply(named("natural"), &[("ha", "Ha"), ("uv", "OII")]).unwrap_err();
    assert!(error.message.contains("[O II] at 372.74 nm"), "{error}");

    let error = apply(named("natural"), &[("ha", "Halpa")]).unwrap_err();
    assert!(error.message.contains("`Halpa`"), "{error}");
    assert_eq!(error.hint, "did you mean `Ha`?");
}

#[test]
fn palettes_are_found_in_any_case_and_own_ones_first() {
    assert_eq!(named("sho").name, "SHO");
    assert_eq!(named(" Rockpool ").name, "rockpool");
    let mut own = named("SHO").clone();
    own.about = "mine".to_owned();
    assert_eq!(find("SHO", &[own.clone()]).unwrap().about, "mine");
    let error = find("rokpool", &[]).unwrap_err();
    assert_eq!(error.hint, "did you mean `rockpool`?");
    assert!(find("zzz", &[]).unwrap_err().hint.contains("natural"));
}

const WHOLE: &str = r##"
palette = 1
name = "two lamps"
about = "An example."
blend = "screen"
gamut = "clip"
needs = ["Ha"]
every = { hue = 40 }

[colors]
Ha = "oklch(0.7 0.15 50)"
OIII = [0, 0.8, -1.5]
SII = { hue = 264.5, saturation = 0.5, strength = 2 }
Hb = "natural"
"##;

#[test]
fn every_way_to_write_is_read() {
    let palette = parse(WHOLE, "two.toml").unwrap();
    assert_eq!(
        (palette.blend, palette.gamut),
        (Blend::Screen, Some(Gamut::Clip))
    );
    assert_eq!(palette.needs, ["Ha"]);
    let hue = |hue, saturation, strength| ColorValue::Hue {
        hue,
        saturation,
        strength,
    };
    assert_eq!(palette.every, Some(hue(40.0, 1.0, 1.0)));
    assert_eq!(
        palette.colors["Ha"],
        ColorValue::Css("oklch(0.7 0.15 50)".to_owned())
    );
    assert_eq!(palette.colors["OIII"], ColorValue::Vector([0.0, 0.8, -1.5]));
    assert_eq!(palette.colors["SII"], hue(264.5, 0.5, 2.0));
    assert_eq!(palette.colors["Hb"], ColorValue::Natural);
}

#[test]
fn faults_are_named_with_their_line() {
    for (from, to, message, hint) in [
        (
            "palette = 1",
            "palette = 2",
            "two.toml, line 2: palette format 2",
            "format 1",
        ),
        (
            "palette = 1",
            "",
            "two.toml: this is no palette",
            "palette = 1",
        ),
        (
            "blend =",
            "blnd =",
            "line 5: `blnd` means nothing",
            "`blend`",
        ),
        (
            "\"screen\"",
            "\"glow\"",
            "line 5: `glow` is no blend",
            "light, tone, screen",
        ),
        (
            "gamut = \"clip\"",
            "gamut = 3",
            "line 6: `gamut` is integer",
            "quotes",
        ),
        (
            "[\"Ha\"]",
            "[\"Hal\"]",
            "line 7: \"Hal\" is no line",
            "`Ha`",
        ),
        (
            "SII = {",
            "SlI = {",
            "line 13: `SlI` means nothing",
            "`SII`",
        ),
        (
            "strength",
            "strenght",
            "line 13: `strenght` means nothing",
            "`strength`",
        ),
        (
            "saturation = 0.5",
            "saturation = 1.5",
            "line 13: SII: `saturation`",
            "#e0603a",
        ),
        (
            "hue = 264.5, ",
            "",
            "line 13: SII: `hue` is missing",
            "#e0603a",
        ),
        (
            "264.5",
            "nan",
            "line 13: SII: `hue` is no finite",
            "#e0603a",
        ),
        ("-1.5]", "]", "line 12: OIII: a vector has three", "#e0603a"),
        ("oklch(0.7", "oklhc(0.7", "line 11: Ha: `oklhc", "#e0603a"),
        (
            "name = \"two lamps\"",
            "name = \" \"",
            "line 3: the palette has no name",
            "name =",
        ),
        ("needs = [\"Ha\"]", "needs = ", "two.toml, line 7: ", "TOML"),
    ] {
        let text = WHOLE.replacen(from, to, 1);
        assert_ne!(text, WHOLE, "{from}");
        let error = parse(&text, "two.toml").unwrap_err();
        assert!(error.message.contains(message), "{from}: {}", error.message);
        assert!(error.hint.contains(hint), "{from}: {}", error.hint);
    }
    let bare = parse("palette = 1\nname = \"bare\"\n", "bare.toml").unwrap_err();
    assert!(bare.message.contains("gives no line a colour"), "{bare}");
}

proptest::proptest! {
    #[test]
    fn any_text_is_survived(text in proptest::prelude::any::<String>()) {
        let _ = parse(&text, "any.toml");
        let text = WHOLE.replace("\"screen\"", &text);
        let _ = parse(&text, "any.toml");
    }
}
