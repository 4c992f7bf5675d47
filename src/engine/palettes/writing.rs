//! From a rendition to a palette, and from a palette to TOML.

use std::collections::BTreeMap;

use serde::Serialize;

use super::{Palette, PaletteError, VERSION};
use crate::engine::color::css;
use crate::engine::lines::line;
use crate::engine::mix::assign::hue_vector;
use crate::engine::recipe::{Blend, ColorValue, Gamut, Recipe, Rendition};

#[derive(Serialize)]
struct Written<'a> {
    palette: i64,
    name: &'a str,
    #[serde(skip_serializing_if = "str::is_empty")]
    about: &'a str,
    blend: Blend,
    #[serde(skip_serializing_if = "Option::is_none")]
    gamut: Option<Gamut>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    needs: &'a [String],
    #[serde(skip_serializing_if = "Option::is_none")]
    every: Option<&'a ColorValue>,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    colors: &'a BTreeMap<String, ColorValue>,
    #[serde(skip_serializing_if = "Option::is_none")]
    apart: Option<BTreeMap<&'static str, f64>>,
}

/// Writes a palette as TOML that [`parse`](super::parse) reads back to the same.
///
/// # Errors
/// Never for a palette that was read; numbers that TOML cannot hold are named.
pub fn write(palette: &Palette) -> Result<String, PaletteError> {
    let written = Written {
        palette: VERSION,
        name: &palette.name,
        about: &palette.about,
        blend: palette.blend,
        gamut: palette.gamut,
        needs: &palette.needs,
        every: palette.every.as_ref(),
        colors: &palette.colors,
        apart: palette.apart.map(|apart| {
            BTreeMap::from([
                ("usual", apart.usual),
                ("protan", apart.protan),
                ("deutan", apart.deutan),
                ("tritan", apart.tritan),
            ])
        }),
    };
    let text = toml::to_string(&written).map_err(|error| {
        PaletteError::new(
            format!("the palette cannot be written: {error}"),
            "check its numbers",
        )
    })?;
    // What does not read back is refused here rather than at the next start.
    super::parse(&text, &palette.name)?;
    Ok(text)
}

/// A palette with the colours of a rendition, by line. Of two channels with
/// the same line the first in the recipe counts. What a palette does not hold
/// (saturation, brightness from channels) stays behind.
///
/// # Errors
/// Where the name cannot be shown, or no line has a colour.
pub fn of_rendition(
    recipe: &Recipe,
    rendition: &Rendition,
    name: &str,
) -> Result<Palette, PaletteError> {
    let mut colors = BTreeMap::new();
    for channel in &recipe.channels {
        let (Some(value), Some(line)) = (rendition.colors.get(&channel.id), line(&channel.line))
        else {
            continue;
        };
        colors
            .entry(line.id.clone())
            .or_insert_with(|| within_a_palette(value));
    }
    let mut palette = Palette {
        name: name.trim().to_owned(),
        about: String::new(),
        blend: rendition.blend,
        gamut: rendition.gamut,
        needs: Vec::new(),
        every: None,
        colors,
        apart: None,
    };
    palette.apart = super::measured::apart(&palette);
    write(&palette)?;
    Ok(palette)
}

// A palette's hues end at the pure colour; what lies beyond is kept as numbers.
fn within_a_palette(value: &ColorValue) -> ColorValue {
    match value {
        ColorValue::Hue {
            hue,
            saturation,
            strength,
        } if *saturation > 1.0 => ColorValue::Vector(hue_vector(*hue, *saturation, *strength)),
        ColorValue::Css(text) => match css::linear_srgb(text) {
            Ok(_) => ColorValue::Css(text.trim().to_owned()),
            Err(_) => ColorValue::Vector([1.0; 3]),
        },
        other => other.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{built_in, parse};
    use super::*;

    #[test]
    fn every_palette_of_ours_reads_back_from_its_text() {
        for palette in built_in() {
            let text = write(palette).expect(&palette.name);
            assert_eq!(parse(&text, "again").expect(&text), *palette);
        }
    }

    fn recipe(colors: &str) -> Recipe {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}[[rendition]]\nid = \"r\"\nblend = \"screen\"\ngamut = \"clip\"\n\
             colors = {{ {colors} }}\n",
            channel("ha", "Ha"),
            channel("ha-2", "Ha"),
            channel("oiii", "OIII"),
        );
        crate::engine::recipe::text::parse(&text, "test").expect("sound")
    }

    #[test]
    fn a_rendition_becomes_a_palette_of_lines() {
        let recipe = recipe(
            "ha = { hue = 30, saturation = 1.5, strength = 2 }, ha-2 = \"natural\", oiii = [0, 1, -0.5]",
        );
        let palette = of_rendition(&recipe, &recipe.renditions[0], " dusk \"1\" ").expect("sound");
        assert_eq!(palette.name, "dusk \"1\"");
        assert_eq!(palette.blend, Blend::Screen);
        assert_eq!(palette.gamut, Some(Gamut::Clip));
        // Beyond the pure colour: numbers, since palettes have no such hue.
        assert_eq!(
            palette.colors["Ha"],
            ColorValue::Vector(hue_vector(30.0, 1.5, 2.0))
        );
        assert_eq!(palette.colors["OIII"], ColorValue::Vector([0.0, 1.0, -0.5]));
        let text = write(&palette).expect("writes");
        assert_eq!(parse(&text, "again").expect("reads"), palette);
    }

    #[test]
    fn a_name_that_cannot_be_shown_is_refused() {
        let recipe = recipe("ha = \"natural\"");
        for name in ["", "  ", "two\nlines", &"long".repeat(20)] {
            let error = of_rendition(&recipe, &recipe.renditions[0], name).expect_err(name);
            assert!(error.hint.contains("characters"), "{error}");
        }
    }
}
