//! Which channel becomes which colour.

use crate::engine::color::{css, edge, natural};
use crate::engine::lines;
use crate::engine::recipe::{Channel, ColorValue, Recipe, Rendition};

/// A channel of a rendition and its colour.
#[derive(Debug, Clone, PartialEq)]
pub struct Assignment {
    /// Index of the channel in the recipe.
    pub channel: usize,
    /// Linear light on the sRGB primaries, unbounded.
    pub linear_srgb: [f64; 3],
    /// Whether it is the line's own colour.
    pub natural: bool,
}

/// Why a colour cannot be worked out. A checked recipe never meets it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AssignError {
    /// No such channel.
    #[error("colors names the channel `{0}`, which is not in the recipe")]
    NoChannel(String),
    /// No natural colour.
    #[error("the light of channel `{0}` is invisible: it has no natural color")]
    Invisible(String),
    /// Not a CSS colour.
    #[error("colors.{0}: {1}")]
    Css(String, css::CssError),
}

/// The colours of a rendition, in the recipe's order of channels.
///
/// # Errors
/// [`AssignError`], for a recipe that was not checked.
pub fn assignments(recipe: &Recipe, rendition: &Rendition) -> Result<Vec<Assignment>, AssignError> {
    let mut assigned = Vec::new();
    for (id, value) in &rendition.colors {
        let channel = recipe
            .channels
            .iter()
            .position(|channel| channel.id == *id)
            .ok_or_else(|| AssignError::NoChannel(id.clone()))?;
        let Channel {
            line, center_nm, ..
        } = &recipe.channels[channel];
        let linear_srgb = match vector(value, line, *center_nm) {
            Ok(Some(vector)) => vector,
            Ok(None) => return Err(AssignError::Invisible(id.clone())),
            Err(error) => return Err(AssignError::Css(id.clone(), error)),
        };
        let natural = *value == ColorValue::Natural;
        assigned.push(Assignment {
            channel,
            linear_srgb,
            natural,
        });
    }
    assigned.sort_by_key(|assignment| assignment.channel);
    if rendition.eye {
        weigh_by_eye(recipe, &mut assigned);
    }
    Ok(assigned)
}

/// The vector of a colour as a recipe writes it, for a channel of this line and
/// centre; None where it is the natural colour of invisible light.
///
/// # Errors
/// When a CSS string does not hold.
pub fn vector(
    value: &ColorValue,
    line_id: &str,
    center_nm: Option<f64>,
) -> Result<Option<[f64; 3]>, css::CssError> {
    Ok(match value {
        ColorValue::Css(text) => Some(css::linear_srgb(text)?),
        ColorValue::Vector(vector) => Some(*vector),
        ColorValue::Hue {
            hue,
            saturation,
            strength,
        } => Some(hue_vector(*hue, *saturation, *strength)),
        ColorValue::Natural => natural_color(line_id, center_nm),
    })
}

/// The vector of a hue: `strength * ((1 - saturation) * white + saturation * pure)`.
pub fn hue_vector(hue_deg: f64, saturation: f64, strength: f64) -> [f64; 3] {
    edge::pure_color(hue_deg).map(|pure| strength * ((1.0 - saturation) + saturation * pure))
}

/// The natural colour of a channel, linear sRGB with a largest component of 1:
/// a line's by its wavelength (the table's where `center_nm` is None), R, G
/// and B the primaries, L white. None for invisible light and unknown lines.
pub fn natural_color(line_id: &str, center_nm: Option<f64>) -> Option<[f64; 3]> {
    let line = lines::line(line_id)?;
    match line.id.as_str() {
        "L" => Some([1.0; 3]),
        "R" => Some([1.0, 0.0, 0.0]),
        "G" => Some([0.0, 1.0, 0.0]),
        "B" => Some([0.0, 0.0, 1.0]),
        _ => natural::line_color(center_nm.unwrap_or(line.center_nm)),
    }
}

// Each natural line by its luminous efficiency, the brightest line unchanged.
fn weigh_by_eye(recipe: &Recipe, assigned: &mut [Assignment]) {
    let efficiency = |assignment: &Assignment| {
        let channel = &recipe.channels[assignment.channel];
        let line = lines::line(&channel.line).filter(|line| !line.is_broad())?;
        natural::luminous_efficiency(channel.center_nm.unwrap_or(line.center_nm))
            .filter(|_| assignment.natural)
    };
    let brightest = assigned.iter().filter_map(efficiency).fold(0.0, f64::max);
    for assignment in assigned {
        if let Some(efficiency) = efficiency(assignment) {
            assignment.linear_srgb = assignment
                .linear_srgb
                .map(|component| component * efficiency / brightest);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text::parse;

    fn recipe(colors: &str, eye: bool) -> Recipe {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}{}[[rendition]]\nid = \"r\"\neye = {eye}\ncolors = {{ {colors} }}\n",
            channel("oiii", "OIII"),
            channel("ha", "Ha"),
            channel("sii", "SII"),
            channel("r", "R"),
        );
        parse(&text, "test").expect("sound")
    }

    #[test]
    fn every_notation_gives_its_vector() {
        let recipe = recipe(
            "sii = [2, 0, -1], ha = \"#fff\", oiii = { hue = 142.495, saturation = 0.25, strength = 2 }",
            false,
        );
        let assigned = assignments(&recipe, &recipe.renditions[0]).expect("sound");
        assert_eq!(
            assigned.iter().map(|a| a.channel).collect::<Vec<_>>(),
            [0, 1, 2]
        );
        assert_eq!(assigned[1].linear_srgb, [1.0; 3]);
        assert_eq!(assigned[2].linear_srgb, [2.0, 0.0, -1.0]);
        // A quarter of pure green and three quarters of white, twice.
        for (a, b) in assigned[0].linear_srgb.iter().zip([1.5, 2.0, 1.5]) {
            assert!((a - b).abs() < 1e-3);
        }
    }

    #[test]
    fn the_eye_weighs_lines_by_the_y_function() {
        let recipe = recipe(
            "oiii = \"natural\", ha = \"natural\", sii = \"natural\", r = \"natural\"",
            true,
        );
        let assigned = assignments(&recipe, &recipe.renditions[0]).expect("sound");
        let largest: Vec<f64> = assigned
            .iter()
            .map(|a| a.linear_srgb.iter().copied().fold(f64::MIN, f64::max))
            .collect();
        // Published y functions: 0.33343 at 500.684 nm, 0.07590 at 656.28 nm.
        assert!((largest[0] - 1.0).abs() < 1e-9);
        assert!((largest[1] - 0.07590 / 0.33343).abs() < 1e-3);
        assert_eq!(largest[3], 1.0, "a broad band keeps its primary");
    }
}
