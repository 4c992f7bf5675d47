//! Renditions to start with.

use std::collections::BTreeMap;

use crate::engine::lines;
use crate::engine::mix::assign::natural_color;
use crate::engine::palettes::{self, Palette};
use crate::engine::recipe::{Channel, ColorValue, Gamut, Rendition};
use crate::work::Error;

/// Palettes that are tried in this order when none is named.
const FIRST_CHOICES: [&str; 4] = ["lampwick", "HOO", "SOO", "natural"];

/// The channels that a rendition may show: of two stacks of one line, the first.
pub(in crate::work) fn first_of_each_line(channels: &[Channel]) -> Vec<Channel> {
    channels
        .iter()
        .enumerate()
        .filter(|(index, channel)| !channels[..*index].iter().any(|c| c.line == channel.line))
        .map(|(_, channel)| channel.clone())
        .collect()
}

/// A sentence for each channel that no rendition shows.
pub(in crate::work) fn left_out(
    channels: &[Channel],
    shown: &[Channel],
    renditions: &[Rendition],
) -> Vec<String> {
    channels
        .iter()
        .filter(|channel| {
            !renditions
                .iter()
                .any(|r| r.colors.contains_key(&channel.id))
        })
        .map(|channel| {
            let twin = shown
                .iter()
                .find(|other| other.line == channel.line && other.id != channel.id);
            match twin {
                Some(twin) => format!(
                    "{} holds the same line as {} and is left out: combine the two stacks, or give \
                     each its share of the colour",
                    channel.id, twin.id
                ),
                None => format!(
                    "{} takes part in no rendition: give it a colour there, or a weight in \
                     its brightness",
                    channel.id
                ),
            }
        })
        .collect()
}

/// Whether it is L, R, G or B.
pub(in crate::work) fn is_broad(channel: &Channel) -> bool {
    lines::line(&channel.line).is_some_and(lines::Line::is_broad)
}

/// Renditions to start with: a palette that fits, and true or natural colour.
///
/// # Errors
/// When the palette does not fit, or none does.
pub(in crate::work) fn renditions(
    wanted: Option<&str>,
    own: &[Palette],
    channels: &[Channel],
    notices: &mut Vec<String>,
) -> Result<Vec<Rendition>, Error> {
    let mut all = Vec::new();
    let there: Vec<(&str, &str)> = channels
        .iter()
        .map(|channel| (channel.id.as_str(), channel.line.as_str()))
        .collect();
    match wanted {
        Some(name) => {
            let palette = palettes::find(name, own)?;
            all.push(mapped(palette, palettes::apply(palette, &there)?));
        }
        None => {
            let emission: Vec<(&str, &str)> = channels
                .iter()
                .filter(|channel| !is_broad(channel))
                .map(|channel| (channel.id.as_str(), channel.line.as_str()))
                .collect();
            if emission.len() > 1 {
                all.extend(first_choice(&emission));
            }
        }
    }
    let (natural, left_out) = natural(channels);
    for id in left_out {
        notices.push(format!(
            "{id} is left out of the natural rendition: its light is invisible"
        ));
    }
    if let Some(natural) = natural
        && all
            .iter()
            .all(|rendition: &Rendition| rendition.colors != natural.colors)
    {
        all.push(natural);
    }
    if all.is_empty() {
        return Err(Error::request(
            "no palette fits these lines",
            "name one with --palette; `linehue palettes` lists them",
        ));
    }
    Ok(all)
}

// The first palette that gives every line a colour, or else the most of them.
fn first_choice(emission: &[(&str, &str)]) -> Option<Rendition> {
    let fitting: Vec<(&Palette, BTreeMap<String, ColorValue>)> = FIRST_CHOICES
        .iter()
        .filter_map(|name| {
            let palette = palettes::find(name, &[]).ok()?;
            Some((palette, palettes::apply(palette, emission).ok()?))
        })
        .collect();
    let most = fitting.iter().map(|(_, colors)| colors.len()).max()?;
    let (palette, colors) = fitting
        .into_iter()
        .find(|(_, colors)| colors.len() == most)?;
    Some(mapped(palette, colors))
}

fn mapped(palette: &Palette, colors: BTreeMap<String, ColorValue>) -> Rendition {
    let natural = colors.values().all(|color| *color == ColorValue::Natural);
    Rendition {
        blend: palette.blend,
        gamut: palette.gamut,
        colors,
        ..Rendition::blank(if natural { "natural" } else { "mapped" })
    }
}

// True colour from R, G and B where all three are there, else the lines in
// their own light; with the ids of lines that no eye sees.
fn natural(channels: &[Channel]) -> (Option<Rendition>, Vec<String>) {
    let has = |line: &str| channels.iter().any(|channel| channel.line == line);
    let broad = ["R", "G", "B"].into_iter().all(has);
    let takes_part = |channel: &&Channel| {
        if broad {
            is_broad(channel) && channel.line != "L"
        } else {
            !is_broad(channel)
        }
    };
    let (visible, hidden): (Vec<&Channel>, Vec<&Channel>) = channels
        .iter()
        .filter(takes_part)
        .partition(|channel| natural_color(&channel.line, channel.center_nm).is_some());
    let colors: BTreeMap<String, ColorValue> = visible
        .iter()
        .map(|channel| (channel.id.clone(), ColorValue::Natural))
        .collect();
    let rendition = (!colors.is_empty()).then(|| Rendition {
        gamut: Some(Gamut::HoldHue),
        colors,
        ..Rendition::blank("natural")
    });
    (
        rendition,
        hidden
            .into_iter()
            .map(|channel| channel.id.clone())
            .collect(),
    )
}
