//! New channels join what lies on the desk.

use std::path::Path;

use super::recognise::same_file;
use crate::engine::lines;
use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::{About, Channel, ColorValue, Gamut, Recipe, Rendition, VERSION, check};
use crate::work::Error;
use crate::work::draft::{first_of_each_line, free_id, is_broad, left_out, renditions};

/// Whether this plane of this file is a channel already.
pub fn on_desk(channels: &[Channel], folder: &Path, file: &Path, channel: &Channel) -> bool {
    channels.iter().any(|other| {
        other.plane == channel.plane
            && other.hdu == channel.hdu
            && same_file(&folder.join(&other.file), file)
    })
}

/// Adds a channel under an id that no other has; the result is that id.
pub fn add(channels: &mut Vec<Channel>, mut channel: Channel) -> String {
    channel.id = free_id(&channel.line, channels);
    let id = channel.id.clone();
    channels.push(channel);
    id
}

/// A recipe for a new desk.
///
/// # Errors
/// When it would not hold.
pub fn new(
    channels: Vec<Channel>,
    object: String,
    notices: &mut Vec<String>,
) -> Result<Recipe, Error> {
    let shown = first_of_each_line(&channels);
    // Where no palette fits, each channel shows in a light of its own.
    let renditions = renditions(None, &[], &shown, notices).unwrap_or_else(|_| vec![plain(&shown)]);
    notices.extend(left_out(&channels, &shown, &renditions));
    let recipe = Recipe {
        recipe: VERSION,
        reference: channels.first().map(|channel| channel.id.clone()),
        crop: None,
        about: About {
            object,
            ..About::default()
        },
        channels,
        renditions,
        ratios: Vec::new(),
    };
    checked(recipe)
}

fn plain(shown: &[Channel]) -> Rendition {
    let color = |channel: &Channel| {
        let natural = natural_color(&channel.line, channel.center_nm).is_some();
        let colored = natural && shown.len() > 1 && channel.line != "L";
        let value = if colored {
            ColorValue::Natural
        } else {
            ColorValue::Css("white".to_owned())
        };
        (channel.id.clone(), value)
    };
    Rendition {
        gamut: Some(Gamut::HoldHue),
        colors: shown.iter().map(color).collect(),
        ..Rendition::blank("mapped")
    }
}

/// The recipe with more channels. What was made by hand stays: new channels
/// get a colour in the rendition called `natural` alone.
///
/// # Errors
/// When it would not hold.
pub fn onto(recipe: &Recipe, new: &[Channel], notices: &mut Vec<String>) -> Result<Recipe, Error> {
    let mut recipe = recipe.clone();
    let before = recipe.channels.clone();
    recipe.channels.extend(new.iter().cloned());
    let natural = recipe.renditions.iter_mut().find(|r| r.id == "natural");
    let mut colored = Vec::new();
    if let Some(natural) = natural {
        // True colour stays apart from the light of the lines.
        let there: Vec<&Channel> = before
            .iter()
            .filter(|channel| natural.colors.contains_key(&channel.id))
            .collect();
        let broad = there.iter().any(|channel| is_broad(channel));
        for channel in new {
            let twin = before
                .iter()
                .any(|other| other.line == channel.line && natural.colors.contains_key(&other.id));
            let fits = (there.is_empty() || is_broad(channel) == broad) && channel.line != "L";
            if fits && !twin && natural_color(&channel.line, channel.center_nm).is_some() {
                natural
                    .colors
                    .insert(channel.id.clone(), ColorValue::Natural);
                colored.push(channel.id.clone());
            }
        }
    }
    for channel in new {
        if !colored.contains(&channel.id) {
            let symbol = lines::line(&channel.line).map_or("", |line| line.symbol.as_str());
            notices.push(format!(
                "{} ({symbol}) has no colour yet: give it one where it is to show",
                channel.id
            ));
        }
    }
    checked(recipe)
}

fn checked(recipe: Recipe) -> Result<Recipe, Error> {
    check::whole(&recipe).map_err(|problem| {
        Error::request(format!("{}: {}", problem.place, problem.what), problem.hint)
    })?;
    Ok(recipe)
}
