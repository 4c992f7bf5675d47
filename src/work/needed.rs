//! Which channels a picture is made with: its own, and those that are only asked where
//! stars are. What shows stars the most clearly is asked even where the rendition does
//! not use it.

use std::path::PathBuf;

use super::inputs::{self, Input};
use super::prepare::{self, Preparation};
use super::{Control, Error};
use crate::engine::color::space::Space;
use crate::engine::compose::{Composition, Slot, star_color};
use crate::engine::frame::Depth;
use crate::engine::lines::{self, Line};
use crate::engine::recipe::{Channel, Recipe, Rendition};

/// The channels of a composition by their index in the recipe, if stars are told
/// apart in any; and whether they are in this one. Those in which they are come
/// first: the others are only asked, also broad ones that it does not use.
pub fn order(recipe: &Recipe, composition: &Composition) -> Vec<(usize, bool)> {
    let apart = |index: &usize| composition.slots().contains(&Slot::Nebula(*index));
    let (mut order, asked): (Vec<usize>, Vec<usize>) = composition.channels().partition(apart);
    let parted = order.len();
    if parted > 0 {
        order.extend(asked);
        order.extend(lent(recipe, composition));
    }
    let numbered = order.into_iter().enumerate();
    numbered
        .map(|(place, index)| (index, place < parted))
        .collect()
}

/// The channels that pictures are made with, by their index in the recipe, in its order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Needed {
    /// Those that pictures show something of.
    pub own: Vec<usize>,
    /// With those that are only asked where stars are.
    pub all: Vec<usize>,
}

impl Needed {
    /// Those of one picture.
    pub fn of(recipe: &Recipe, composition: &Composition) -> Self {
        let mut needed = Self::default();
        needed.add(recipe, composition);
        needed
    }

    /// Adds those of another picture.
    pub fn add(&mut self, recipe: &Recipe, composition: &Composition) {
        let order = order(recipe, composition);
        self.own.extend(composition.channels());
        self.all.extend(composition.channels());
        self.all.extend(order.into_iter().map(|(index, _)| index));
        for indices in [&mut self.own, &mut self.all] {
            indices.sort_unstable();
            indices.dedup();
        }
    }

    /// Asks none but those whose id may be asked.
    pub fn ask_only(&mut self, recipe: &Recipe, may: impl Fn(&str) -> bool) {
        let own = &self.own;
        self.all
            .retain(|index| own.contains(index) || may(&recipe.channels[*index].id));
    }

    /// Leaves out those that could only be asked and cannot be opened beside the others;
    /// what a person should know of that. `locate` says where a channel's file is.
    pub fn leave_out(
        &mut self,
        recipe: &Recipe,
        locate: impl Fn(&Channel) -> Result<PathBuf, Error>,
    ) -> Vec<String> {
        let mut left_out = Vec::new();
        let own = &self.own;
        self.all.retain(|index| {
            if own.contains(index) {
                return true;
            }
            let with = [&own[..], &[*index]].concat();
            let opened = inputs::open(recipe, &inputs::shaping(recipe, &with), &locate);
            if let Err(error) = &opened {
                left_out.push(unasked(recipe, *index, error));
            }
            opened.is_ok()
        });
        left_out
    }
}

fn unasked(recipe: &Recipe, index: usize, error: &Error) -> String {
    let id = &recipe.channels[index].id;
    format!("{error}; {id} cannot tell where stars are")
}

/// Prepares channels: one that is only asked where stars are may fail.
///
/// # Errors
/// As [`prepare`](super::prepare::prepare).
pub fn prepared(
    recipe: &Recipe,
    inputs: &[Input],
    needed: &Needed,
    control: Control<'_>,
) -> Result<Preparation, Error> {
    let shaping = inputs::shaping(recipe, &needed.own);
    let mut left_out = Vec::new();
    let mut failed = |index: usize, error: Error| {
        if shaping.contains(&index) {
            return Err(error);
        }
        left_out.push(unasked(recipe, index, &error));
        Ok(())
    };
    let mut made = prepare::each(
        recipe,
        inputs,
        &needed.all,
        &|_| control,
        &mut failed,
        control,
    )?;
    made.notices.extend(left_out);
    Ok(made)
}

/// What a channel that is not in a rendition's mix does for its stars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// It gives them their colours.
    Colors,
    /// It is asked where they are.
    Told,
    /// Nothing.
    Neither,
}

/// The part of a channel that is not in a rendition's mix.
pub fn part(recipe: &Recipe, rendition: &Rendition, channel: &Channel) -> Part {
    let is_it = |index: usize| recipe.channels[index].id == channel.id;
    if star_color(recipe, channel, rendition.star_look()).is_some() {
        Part::Colors
    } else if !rendition.star_look().is_plain() && clearest(recipe).into_iter().any(is_it) {
        Part::Told
    } else {
        Part::Neither
    }
}

/// The channels that a composition does not show, but asks.
fn lent(recipe: &Recipe, composition: &Composition) -> Vec<usize> {
    let mut lent = clearest(recipe);
    lent.retain(|index| composition.channels().all(|own| own != *index));
    lent
}

/// The channels that show stars the most clearly: L; where there is none, what is broad.
fn clearest(recipe: &Recipe) -> Vec<usize> {
    let of = |is: &dyn Fn(&Line) -> bool| -> Vec<usize> {
        let all = recipe.channels.iter().enumerate();
        all.filter(|(_, channel)| lines::line(&channel.line).is_some_and(is))
            .map(|(index, _)| index)
            .collect()
    };
    let luminance = of(&|line| line.id == "L");
    if luminance.is_empty() {
        of(&Line::is_broad)
    } else {
        luminance
    }
}

/// The ids of the channels that tell of a rendition's stars, in alphabetical
/// order: of those that are in memory, by their index in the recipe.
pub fn tellers<'a>(
    recipe: &'a Recipe,
    rendition: &Rendition,
    is_there: impl Fn(usize) -> bool,
) -> Vec<&'a str> {
    let Ok(composition) = Composition::new(recipe, rendition, Space::Srgb, Depth::Eight) else {
        return Vec::new();
    };
    let mut ids: Vec<&str> = order(recipe, &composition)
        .into_iter()
        .filter(|(index, _)| is_there(*index))
        .map(|(index, _)| recipe.channels[index].id.as_str())
        .collect();
    ids.sort_unstable();
    ids
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text;

    // Of three lines and some broad bands, with one rendition of two lines.
    fn made(bands: &[&str], stars: &str) -> (Vec<String>, Vec<String>) {
        let mut recipe = "recipe = 1\nreference = \"ha\"\n".to_owned();
        for (id, line) in [("ha", "Ha"), ("oiii", "OIII"), ("sii", "SII")]
            .into_iter()
            .chain(bands.iter().map(|band| (*band, *band)))
        {
            recipe += &format!(
                "[[channel]]\nid = \"{}\"\nfile = \"{id}.fits\"\nline = \"{line}\"\n\
                 stretch = {{ black = 0, white = 1000, shape = \"linear\" }}\n",
                id.to_lowercase()
            );
        }
        recipe += &format!(
            "[[rendition]]\nid = \"mapped\"\nblend = \"light\"\nstars = \"{stars}\"\n\
             [rendition.colors]\nha = \"#ff0000\"\noiii = \"#00ffff\"\n"
        );
        let recipe = text::parse(&recipe, "some.toml").unwrap();
        let rendition = &recipe.renditions[0];
        let composition = Composition::new(&recipe, rendition, Space::Srgb, Depth::Eight).unwrap();
        let mut needed = Needed::of(&recipe, &composition);
        let ids = |indices: &[usize]| -> Vec<String> {
            let id = |index: &usize| recipe.channels[*index].id.clone();
            indices.iter().map(id).collect()
        };
        let all = ids(&needed.all);
        let left_out = needed.leave_out(&recipe, |_| Err(Error::request("gone", "")));
        assert_eq!(needed.all, needed.own);
        assert_eq!(left_out.len(), all.len() - needed.own.len());
        assert_eq!(ids(&needed.own), ["ha", "oiii"]);
        for (index, channel) in recipe.channels.iter().enumerate() {
            if !needed.own.contains(&index) {
                let asked = part(&recipe, rendition, channel) == Part::Told;
                assert_eq!(asked, all.contains(&channel.id), "{}", channel.id);
            }
        }
        let mut told: Vec<&str> = tellers(&recipe, rendition, |_| true);
        told.sort_unstable();
        (all, told.into_iter().map(str::to_owned).collect())
    }

    #[test]
    fn l_is_asked_where_stars_are_or_what_else_is_broad() {
        for (bands, asked) in [
            (&["L", "R", "G", "B"][..], &["ha", "oiii", "l"][..]),
            (&["R", "G", "B"], &["ha", "oiii", "r", "g", "b"]),
            (&[], &["ha", "oiii"]),
        ] {
            for stars in ["none", "neutral"] {
                let (all, mut told) = made(bands, stars);
                assert_eq!(all, asked, "{stars}");
                told.sort();
                let mut sorted = asked.to_vec();
                sorted.sort_unstable();
                assert_eq!(told, sorted);
            }
        }
        // Nobody need say anything where stars stay.
        let (all, told) = made(&["L"], "as mixed");
        assert_eq!(all, ["ha", "oiii"]);
        assert_eq!(told, Vec::<String>::new());
    }
}
