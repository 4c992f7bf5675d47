//! The recipe as TOML text.

use super::{Recipe, VERSION, check};

/// What is wrong with a recipe, where, and what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{origin}{place}: {what}")]
pub struct RecipeError {
    /// The file's name, or what else the text came from.
    pub origin: String,
    /// ` line 7` or ` channel ha`, with a leading comma; may be empty.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// The next step.
    pub hint: String,
}

/// Reads a recipe and checks it as a whole. `origin` names it in messages.
///
/// # Errors
/// The first mistake: its place, the key, and where a key is unknown the
/// nearest known one.
pub fn parse(text: &str, origin: &str) -> Result<Recipe, RecipeError> {
    let fail = |place: String, what: String, hint: String| RecipeError {
        origin: origin.to_owned(),
        place,
        what,
        hint,
    };
    // The version comes first: a later format may have keys that are unknown here.
    if let Ok(table) = text.parse::<toml::Table>()
        && let Some(version) = table.get("recipe").and_then(toml::Value::as_integer)
        && version > i64::from(VERSION)
    {
        return Err(fail(
            String::new(),
            format!("the recipe has format version {version}, this Linehue reads {VERSION}"),
            "make it with a newer Linehue, or write it anew in this format".to_owned(),
        ));
    }
    let recipe: Recipe = toml::from_str(text).map_err(|error| {
        let (message, hint) = reword(error.message());
        fail(place_of(text, error.span()), message, hint)
    })?;
    check::whole(&recipe)
        .map_err(|problem| fail(format!(", {}", problem.place), problem.what, problem.hint))?;
    Ok(recipe)
}

/// Writes a recipe as TOML that [`parse`] reads back to the same value.
///
/// # Errors
/// Never for a checked recipe; numbers that TOML cannot hold are named.
pub fn write(recipe: &Recipe) -> Result<String, toml::ser::Error> {
    toml::to_string(recipe)
}

fn place_of(text: &str, span: Option<std::ops::Range<usize>>) -> String {
    span.map_or_else(String::new, |span| {
        let before = &text.as_bytes()[..span.start.min(text.len())];
        format!(
            ", line {}",
            1 + before.iter().filter(|byte| **byte == b'\n').count()
        )
    })
}

// The parser's words, with the nearest known key as the hint where a key is
// unknown.
fn reword(message: &str) -> (String, String) {
    let message = message.trim().replace('\n', "; ");
    let names: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    if message.starts_with("unknown field") || message.starts_with("unknown variant") {
        let kind = if message.starts_with("unknown field") {
            "key"
        } else {
            "value"
        };
        if let Some((unknown, known)) = names.split_first() {
            let what = format!("unknown {kind} `{unknown}`");
            return (what, nearest_hint(unknown, known.iter().copied()));
        }
    }
    if message.starts_with("missing field")
        && let Some(name) = names.first()
    {
        return (
            format!("the key `{name}` is missing"),
            format!("add `{name} = ...`"),
        );
    }
    if message.contains("duplicate key") {
        return (message, "keep one of the two".to_owned());
    }
    (
        message,
        "the README has a table of what a recipe holds".to_owned(),
    )
}

/// `did you mean ...?`, or the list of what is known.
pub fn nearest_hint<'a>(unknown: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    let lower = unknown.to_lowercase();
    let nearest = known
        .clone()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&lower, &name.to_lowercase()),
                name,
            )
        })
        .min()
        .filter(|(distance, name)| *distance <= 1 + name.len() / 3);
    match nearest {
        Some((_, name)) => format!("did you mean `{name}`?"),
        None => {
            let list: Vec<String> = known.map(|name| format!("`{name}`")).collect();
            if list.is_empty() {
                "there is none to choose from".to_owned()
            } else {
                format!("known here: {}", list.join(", "))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: &str = r##"
recipe = 1
reference = "ha"

[[channel]]
id = "ha"
file = "lantern-ha.fits"
line = "Ha"
[channel.stretch]
black = 0.0021
white = 0.93
shape = "asinh"
amount = 80
curve = [[0, 0], [0.35, 0.3], [1, 1]]

[[rendition]]
id = "mapped"
gamut = "hold-hue"
colors = { ha = "#e0603a" }
luminance = { from = { ha = 0.7 } }
"##;

    #[test]
    fn a_sound_recipe_reads_and_writes_without_change() {
        let recipe = parse(SOUND, "test").expect("sound");
        assert_eq!(
            recipe.renditions[0].luminance.as_ref().map(|l| l.amount),
            Some(1.0)
        );
        let again = parse(&write(&recipe).expect("writes"), "again").expect("sound");
        assert_eq!(again, recipe);
    }

    #[test]
    fn mistakes_name_key_line_and_next_step() {
        let cases = [
            ("black =", "blakc =", ", line 10", "`blakc`", "`black`"),
            (
                "shape = \"asinh\"",
                "shape = \"asin\"",
                ", line 12",
                "`asin`",
                "`asinh`",
            ),
            ("recipe = 1", "recipe = 2", "", "version 2", "newer"),
            (
                "white = 0.93",
                "white = 0.93\nwhite = 1.0",
                ", line 12",
                "duplicate",
                "keep one",
            ),
            ("id = \"mapped\"", "", ", line 16", "`id`", "id = "),
            ("\"#e0603a\"", "\"#e0603\"", ", line 19", "#e0603", ""),
            (
                "white = 0.93",
                "white = nan",
                ", channel ha",
                "white",
                "number",
            ),
            (
                "white = 0.93",
                "white = 0.001",
                ", channel ha",
                "black",
                "white",
            ),
            (
                "[0.35, 0.3]",
                "[0.35, 0.3], [0.4, 0.2]",
                ", channel ha",
                "falls",
                "",
            ),
            ("line = \"Ha\"", "line = \"Hq\"", ", channel ha", "Hq", "Ha"),
            (
                "{ ha = 0.7 }",
                "{ hb = 0.7 }",
                ", rendition mapped",
                "hb",
                "ha",
            ),
            (
                "reference = \"ha\"",
                "reference = \"hx\"",
                ", reference",
                "hx",
                "ha",
            ),
        ];
        for (from, to, place, what, hint) in cases {
            let error = parse(&SOUND.replacen(from, to, 1), "test").expect_err(to);
            assert_eq!(error.place, place, "{to}: {error}");
            assert!(error.what.contains(what), "{to}: {error}");
            assert!(
                error.hint.contains(hint),
                "{to}: {} {}",
                error.what,
                error.hint
            );
        }
    }
}
