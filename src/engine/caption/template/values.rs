//! What the places of a template are filled with.

use std::collections::BTreeMap;

use super::super::facts::{Facts, Kind, Shown, sensible_s};
use super::super::seen::{Place, Seen};
use super::super::tidy;
use super::vocabulary::Words;
use crate::engine::recipe::{AlignMethod, BalancedBy, Shape, ShowStars};

/// A value by its name.
pub type Values = BTreeMap<&'static str, Value>;

/// One value.
#[derive(Debug, Clone)]
pub enum Value {
    Text(String),
    Number(f64),
    Flag(bool),
    List(Vec<Values>),
}

impl Value {
    /// Whether there is anything in it.
    pub fn is_there(&self) -> bool {
        match self {
            Self::Text(text) => !text.is_empty(),
            Self::Number(number) => *number != 0.0,
            Self::Flag(flag) => *flag,
            Self::List(items) => !items.is_empty(),
        }
    }
}

const PICTURE: [(&str, &str); 48] = [
    ("subject", "text"),
    ("title", "text"),
    ("object", "text"),
    ("retitled", "flag"),
    ("creator", "text"),
    ("credit", "text"),
    ("rights", "text"),
    ("rendition", "text"),
    ("kind", "text"),
    ("natural", "flag"),
    ("mapped", "flag"),
    ("partly", "flag"),
    ("grey", "flag"),
    ("distinct", "flag"),
    ("eye", "flag"),
    ("lines", "list"),
    ("line_count", "number"),
    ("colored", "list"),
    ("colored_count", "number"),
    ("own_hue", "list"),
    ("own_hue_count", "number"),
    ("brighteners", "list"),
    ("in_part", "flag"),
    ("total", "text"),
    ("at_least", "flag"),
    ("exposed", "list"),
    ("exposed_count", "number"),
    ("first_day", "text"),
    ("last_day", "text"),
    ("one_day", "flag"),
    ("aligned_count", "number"),
    ("alignments", "list"),
    ("leveled_count", "number"),
    ("stretches", "list"),
    ("curved", "flag"),
    ("cropped", "flag"),
    ("stars", "text"),
    ("stars_scaled", "flag"),
    ("emission_count", "number"),
    ("smoothed_count", "number"),
    ("smooth_color", "flag"),
    ("detail", "flag"),
    ("balance", "text"),
    ("balance_stars", "number"),
    ("brightness", "text"),
    ("brightest", "text"),
    ("hues", "list"),
    ("hue_count", "number"),
];

const LINE: [(&str, &str); 12] = [
    ("name", "text"),
    ("symbol", "text"),
    ("color", "text"),
    ("center", "text"),
    ("width", "text"),
    ("also", "list"),
    ("broad", "flag"),
    ("own", "flag"),
    ("time", "text"),
    ("frames", "number"),
    ("aligned", "text"),
    ("leveled", "flag"),
];

/// The names that are known in a list's items, or of the picture (``), and
/// of what kind each is.
pub fn known(list: &str) -> &'static [(&'static str, &'static str)] {
    match list {
        "" => &PICTURE,
        "lines" | "colored" | "own_hue" | "brighteners" | "exposed" => &LINE,
        "also" => &[("other", "text")],
        "alignments" | "stretches" => &[("way", "text"), ("count", "number")],
        "hues" => &[("hue", "text"), ("place", "text"), ("percent", "number")],
        _ => &[],
    }
}

/// What a picture is called: its title, else its object, else the word for a
/// picture without a name.
pub fn subject(facts: &Facts, words: &Words) -> String {
    [&facts.title, &facts.object, &words.unnamed]
        .into_iter()
        .map(|text| name_of(text))
        .find(|text| !text.is_empty())
        .unwrap_or_default()
}

// A name, without the full stop that a sentence will put there.
fn name_of(text: &str) -> String {
    let tidy = tidy::words(text);
    tidy.trim_end_matches(['.', ' ']).to_owned()
}

/// All values of a picture.
pub fn all(facts: &Facts, words: &Words) -> Values {
    use Value::{Flag, List, Number, Text};
    let line = |shown: &Shown| of_line(shown, words);
    let count = |n: usize| Number(n as f64);
    let kind = facts.kind();
    let (title, object) = (name_of(&facts.title), name_of(&facts.object));
    let colored: Vec<Values> = facts.colored().map(line).collect();
    let own_hue: Vec<Values> = facts.colored().filter(|l| l.natural).map(line).collect();
    let brighteners: Vec<Values> = facts
        .lines
        .iter()
        .filter(|line| line.brightens)
        .map(line)
        .collect();
    let exposed: Vec<Values> = facts
        .lines
        .iter()
        .filter(|line| line.exposure_s.is_some_and(sensible_s))
        .map(line)
        .collect();
    let mut color_words: Vec<_> = facts.colored().map(|line| &line.color_name).collect();
    color_words.sort();
    color_words.dedup();
    let day = |at: usize| {
        Text(
            facts
                .days
                .map_or_else(String::new, |days| words.day(days[at])),
        )
    };
    let aligned = facts.lines.iter().filter_map(|line| line.align);
    let alignments = ways(aligned.clone().map(align_key), words);
    let stretches = ways(facts.lines.iter().map(|line| shape_key(line.shape)), words);
    let hues = facts
        .seen
        .as_ref()
        .map_or_else(Vec::new, |seen| hues(seen, words));
    let place = |place: Place| words.name(|words| &words.places, place_key(place));
    BTreeMap::from([
        ("subject", Text(subject(facts, words))),
        (
            "retitled",
            Flag(!title.is_empty() && !title.to_lowercase().contains(&object.to_lowercase())),
        ),
        ("title", Text(title)),
        ("object", Text(object)),
        ("creator", Text(name_of(&facts.creator))),
        ("credit", Text(name_of(&facts.credit))),
        ("rights", Text(name_of(&facts.rights))),
        ("rendition", Text(tidy::words(&facts.rendition))),
        ("kind", Text(words.kind(kind).to_owned())),
        ("natural", Flag(kind == Kind::Natural)),
        ("mapped", Flag(kind == Kind::Mapped)),
        ("partly", Flag(kind == Kind::Partly)),
        ("grey", Flag(kind == Kind::Grey)),
        ("distinct", Flag(color_words.len() == colored.len())),
        ("eye", Flag(facts.eye)),
        ("lines", List(facts.lines.iter().map(line).collect())),
        ("line_count", count(facts.lines.len())),
        ("colored_count", count(colored.len())),
        ("colored", List(colored)),
        ("own_hue_count", count(own_hue.len())),
        ("own_hue", List(own_hue)),
        ("brighteners", List(brighteners)),
        (
            "in_part",
            Flag(facts.luminance_amount.is_some_and(|amount| amount < 1.0)),
        ),
        (
            "total",
            Text(
                facts
                    .integration_s()
                    .map_or_else(String::new, |seconds| words.duration(seconds)),
            ),
        ),
        ("at_least", Flag(exposed.len() < facts.lines.len())),
        ("exposed_count", count(exposed.len())),
        ("exposed", List(exposed)),
        ("first_day", day(0)),
        ("last_day", day(1)),
        (
            "one_day",
            Flag(facts.days.is_some_and(|[first, last]| first == last)),
        ),
        ("aligned_count", count(aligned.count())),
        ("alignments", List(alignments)),
        (
            "leveled_count",
            count(facts.lines.iter().filter(|line| line.leveled).count()),
        ),
        ("stretches", List(stretches)),
        ("curved", Flag(facts.lines.iter().any(|line| line.curved))),
        ("cropped", Flag(facts.cropped)),
        ("stars", Text(stars(facts.stars, words))),
        ("stars_scaled", Flag(facts.stars_scaled)),
        (
            "emission_count",
            count(facts.lines.iter().filter(|line| line.emission).count()),
        ),
        (
            "smoothed_count",
            count(facts.lines.iter().filter(|line| line.smoothed).count()),
        ),
        ("smooth_color", Flag(facts.smooth_color)),
        ("detail", Flag(facts.detail)),
        (
            "balance",
            Text(facts.balance.map_or_else(String::new, |(by, _)| {
                words.name(|words| &words.ways, balance_key(by))
            })),
        ),
        (
            "balance_stars",
            count(facts.balance.and_then(|(_, stars)| stars).unwrap_or(0)),
        ),
        (
            "brightness",
            Text(facts.seen.as_ref().map_or_else(String::new, |seen| {
                words.name(|words| &words.brightness, seen.brightness())
            })),
        ),
        (
            "brightest",
            Text(
                facts
                    .seen
                    .as_ref()
                    .and_then(Seen::brightest)
                    .map_or_else(String::new, place),
            ),
        ),
        ("hue_count", count(hues.len())),
        ("hues", List(hues)),
    ])
}

fn of_line(shown: &Shown, words: &Words) -> Values {
    use Value::{Flag, List, Number, Text};
    let nm = |nm: f64| match nm {
        nm if (0.05..1e6).contains(&nm) => words.number(nm, 1),
        _ => String::new(),
    };
    let name = words.own_line(&shown.line).unwrap_or(&shown.name);
    let time = shown.exposure_s.filter(|seconds| sensible_s(*seconds));
    let also = shown.also_passes.iter();
    BTreeMap::from([
        ("name", Text(tidy::words(name))),
        ("symbol", Text(tidy::words(&shown.symbol))),
        (
            "color",
            Text(
                shown
                    .color_name
                    .as_ref()
                    .map_or_else(String::new, |word| words.color(&tidy::words(word))),
            ),
        ),
        ("center", Text(nm(shown.center_nm))),
        ("width", Text(shown.width_nm.map_or_else(String::new, nm))),
        (
            "also",
            List(
                also.map(|symbol| BTreeMap::from([("other", Text(tidy::words(symbol)))]))
                    .collect(),
            ),
        ),
        ("broad", Flag(shown.broad)),
        ("own", Flag(shown.natural)),
        (
            "time",
            Text(time.map_or_else(String::new, |seconds| words.duration(seconds))),
        ),
        ("frames", Number(shown.frames.unwrap_or(0) as f64)),
        (
            "aligned",
            Text(shown.align.map_or_else(String::new, |method| {
                words.name(|words| &words.ways, align_key(method))
            })),
        ),
        ("leveled", Flag(shown.leveled)),
    ])
}

fn hues(seen: &Seen, words: &Words) -> Vec<Values> {
    seen.hues
        .iter()
        .map(|hue| {
            BTreeMap::from([
                (
                    "hue",
                    Value::Text(words.color(&tidy::words(&hue.color_name))),
                ),
                (
                    "place",
                    Value::Text(words.name(|words| &words.places, place_key(hue.place))),
                ),
                ("percent", Value::Number((hue.share * 100.0).round())),
            ])
        })
        .collect()
}

// Each way once, in order of first use, with how many took it.
fn ways(keys: impl Iterator<Item = &'static str>, words: &Words) -> Vec<Values> {
    let mut counted: Vec<(&str, f64)> = Vec::new();
    for key in keys {
        match counted.iter_mut().find(|(known, _)| *known == key) {
            Some((_, count)) => *count += 1.0,
            None => counted.push((key, 1.0)),
        }
    }
    counted
        .into_iter()
        .map(|(key, count)| {
            let name = words.name(|words| &words.ways, key);
            BTreeMap::from([("way", Value::Text(name)), ("count", Value::Number(count))])
        })
        .collect()
}

fn align_key(method: AlignMethod) -> &'static str {
    match method {
        AlignMethod::Stars => "stars",
        AlignMethod::Wcs => "wcs",
        AlignMethod::Given => "given",
    }
}

fn shape_key(shape: Shape) -> &'static str {
    match shape {
        Shape::Linear => "linear",
        Shape::Asinh => "asinh",
        Shape::Log => "log",
        Shape::Power => "power",
        Shape::Bias => "bias",
    }
}

fn stars(show: ShowStars, words: &Words) -> String {
    let key = match show {
        ShowStars::AsMixed => return String::new(),
        ShowStars::Neutral => "neutral",
        ShowStars::Broadband => "broadband",
        ShowStars::None => "none",
    };
    words.name(|words| &words.stars, key)
}

fn balance_key(by: BalancedBy) -> &'static str {
    match by {
        BalancedBy::Hand => "hand",
        BalancedBy::Stars => "average-star",
        BalancedBy::Star => "one-star",
        BalancedBy::Patch => "patch",
        BalancedBy::Catalogue => "catalogue",
    }
}

fn place_key(place: Place) -> &'static str {
    match place {
        Place::UpperLeft => "upper-left",
        Place::Top => "top",
        Place::UpperRight => "upper-right",
        Place::Left => "left",
        Place::Centre => "centre",
        Place::Right => "right",
        Place::LowerLeft => "lower-left",
        Place::Bottom => "bottom",
        Place::LowerRight => "lower-right",
        Place::Throughout => "throughout",
    }
}
