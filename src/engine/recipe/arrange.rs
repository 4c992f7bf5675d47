//! Channels leave a recipe and change places in it.

use super::{Recipe, ShowStars};

/// Without the channel `id`: it leaves all renditions as well, ratios with it go,
/// continuum that it took out stays in, and stars whose colours it gave are
/// neutral. None where the
/// recipe would not make sense without it: it is the only one, or the only one
/// that a rendition shows.
pub fn without(recipe: &Recipe, id: &str) -> Option<Recipe> {
    let mut recipe = recipe.clone();
    let count = recipe.channels.len();
    recipe.channels.retain(|channel| channel.id != id);
    if recipe.channels.is_empty() || recipe.channels.len() == count {
        return None;
    }
    if recipe.reference.as_deref() == Some(id) {
        recipe.reference = Some(recipe.channels[0].id.clone());
    }
    for channel in &mut recipe.channels {
        channel.continuum.take_if(|continuum| continuum.from == id);
    }
    let bands = super::stars::missing_band(&recipe).is_none();
    for rendition in &mut recipe.renditions {
        if let Some(stars) = &mut rendition.stars
            && stars.show == ShowStars::Broadband
            && !bands
        {
            stars.show = ShowStars::Neutral;
        }
        rendition.colors.remove(id);
        if rendition.colors.is_empty() {
            return None;
        }
        if let Some(luminance) = &mut rendition.luminance {
            luminance.from.remove(id);
            if !luminance.from.values().any(|weight| *weight > 0.0) {
                rendition.luminance = None;
            }
        }
    }
    recipe
        .ratios
        .retain(|ratio| ratio.over != id && ratio.under != id);
    Some(recipe)
}

/// With the channel `id` one place up (or down); None at the end of the row.
/// The reference stays the same channel.
pub fn moved(recipe: &Recipe, id: &str, up: bool) -> Option<Recipe> {
    let mut recipe = recipe.clone();
    let from = recipe
        .channels
        .iter()
        .position(|channel| channel.id == id)?;
    let to = if up { from.checked_sub(1)? } else { from + 1 };
    if to >= recipe.channels.len() {
        return None;
    }
    recipe.reference = recipe.reference().map(|channel| channel.id.clone());
    recipe.channels.swap(from, to);
    Some(recipe)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::{check, text};

    fn recipe() -> Recipe {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}[[rendition]]\nid = \"r\"\n\
             luminance = {{ from = {{ ha = 1.0, sii = 0.0 }} }}\n\
             colors = {{ ha = \"#fff\", oiii = \"#00f\" }}\n\
             [[ratio]]\nid = \"a\"\nover = \"sii\"\nunder = \"ha\"\n\
             [[ratio]]\nid = \"b\"\nover = \"sii\"\nunder = \"oiii\"\n",
            channel("ha", "Ha"),
            channel("oiii", "OIII"),
            channel("sii", "SII"),
        );
        text::parse(&text, "test").expect("sound")
    }

    #[test]
    fn a_channel_leaves_everything_that_names_it() {
        let left = without(&recipe(), "ha").expect("two are left");
        check::whole(&left).expect("sound");
        assert!(left.channel("ha").is_none());
        // What is left of the sources weighs nothing.
        assert_eq!(left.renditions[0].luminance, None);
        assert_eq!(left.renditions[0].colors.len(), 1);
        assert_eq!(left.ratios.len(), 1);
        assert!(left.ratio("b").is_some());
    }

    #[test]
    fn the_only_one_that_is_shown_stays() {
        let left = without(&recipe(), "ha").expect("two are left");
        assert_eq!(without(&left, "oiii"), None);
        assert!(without(&left, "sii").is_some());
        assert_eq!(without(&left, "none"), None);
    }

    #[test]
    fn a_removed_reference_is_followed_by_the_first() {
        let mut with = recipe();
        with.reference = Some("oiii".to_owned());
        let left = without(&with, "oiii").expect("two are left");
        assert_eq!(left.reference.as_deref(), Some("ha"));
        check::whole(&left).expect("sound");
    }

    #[test]
    fn moving_keeps_the_reference() {
        let moved_down = moved(&recipe(), "ha", false).expect("there is room");
        let ids: Vec<&str> = moved_down.channels.iter().map(|c| c.id.as_str()).collect();
        assert_eq!(ids, ["oiii", "ha", "sii"]);
        assert_eq!(moved_down.reference().map(|c| c.id.as_str()), Some("ha"));
        assert_eq!(moved(&recipe(), "ha", true), None);
        assert_eq!(moved(&recipe(), "sii", false), None);
        assert_eq!(moved(&recipe(), "none", false), None);
    }
}
