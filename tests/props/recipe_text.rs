//! A recipe's own text under random edits: it reads as the recipe that was
//! asked for, and keeps every comment of what the edit did not touch.

use std::collections::{BTreeMap, BTreeSet};

use linehue::engine::recipe::{Crop, Recipe, check, rewrite, text};
use proptest::prelude::*;
use proptest::sample::Index;

use crate::recipes::recipe;

/// Where a line of plain recipe text belongs, with the ids of its rows, and
/// what it says. One line holds one key.
type Line = (String, String);

/// The lines of a recipe as the program itself writes it, with their tables.
fn lines(plain: &str) -> Vec<Option<Line>> {
    let (mut table, mut row) = (String::new(), String::new());
    let mut counts = BTreeMap::new();
    let mut found = Vec::new();
    let all: Vec<&str> = plain.lines().collect();
    for (index, line) in all.iter().enumerate() {
        if let Some(name) = line.strip_prefix("[[").and_then(|l| l.strip_suffix("]]")) {
            if !name.contains('.') {
                // The id is the first key of every row.
                row = all.get(index + 1).copied().unwrap_or_default().to_owned();
            }
            // Rows without an id go by their number.
            let place = format!("{row} {name}");
            let count: &mut usize = counts.entry(place.clone()).or_default();
            *count += 1;
            table = match name.contains('.') {
                true => format!("{place} {count}"),
                false => place,
            };
            found.push(None);
        } else if let Some(name) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            let is_root = !name.contains('.');
            table = if is_root {
                name.to_owned()
            } else {
                format!("{row} {name}")
            };
            found.push(None);
        } else if let Some((key, _)) = line.split_once(" = ") {
            found.push(Some((format!("{table} {key}"), (*line).to_owned())));
        } else {
            found.push(None);
        }
    }
    found
}

/// With words that stand on one line each.
fn on_lines(mut recipe: Recipe) -> Recipe {
    let plain = |words: &mut String| words.retain(|c| !c.is_control() && c != '\'');
    let about = &mut recipe.about;
    plain(&mut about.title);
    plain(&mut about.object);
    plain(&mut about.creator);
    plain(&mut about.credit);
    plain(&mut about.rights);
    for channel in &mut recipe.channels {
        plain(&mut channel.file);
    }
    for balance in recipe.renditions.iter_mut().flat_map(|r| &mut r.balance) {
        balance.catalogue.iter_mut().for_each(plain);
    }
    recipe
}

/// The text with a comment on every line and one above each, and which comments
/// belong to which line.
fn commented(plain: &str) -> (String, Vec<(Line, [String; 2])>) {
    let mut text = String::from("# the whole\n");
    let mut owned = Vec::new();
    for (number, (line, own)) in plain.lines().zip(lines(plain)).enumerate() {
        let words = [format!("# over {number};"), format!("# beside {number};")];
        match own {
            Some(own) => {
                text.push_str(&format!("{}\n{line} {}\n", words[0], words[1]));
                owned.push((own, words));
            }
            None if line.is_empty() => text.push('\n'),
            None => text.push_str(&format!("{line} # table {number}\n")),
        }
    }
    text.push_str("# the end\n");
    (text, owned)
}

/// Some edits that a window makes; one that does not hold is left.
fn edited(mut held: Recipe, other: &Recipe, edits: &[(u8, Index, Index)]) -> Recipe {
    for (kind, which, whence) in edits {
        let mut recipe = held.clone();
        let channel = which.index(recipe.channels.len());
        let rendition = which.index(recipe.renditions.len());
        let like = &other.channels[whence.index(other.channels.len())];
        let shown = &other.renditions[whence.index(other.renditions.len())];
        match kind {
            0 => recipe.channels[channel].stretch = like.stretch.clone(),
            1 => recipe.channels[channel].level.clone_from(&like.level),
            2 => recipe.channels[channel].align.clone_from(&like.align),
            3 => recipe.channels.swap(0, channel),
            4 => recipe.renditions.swap(0, rendition),
            5 => recipe.renditions[rendition].id.push_str("-renamed"),
            6 => {
                let mut copy = recipe.renditions[rendition].clone();
                copy.id.push_str("-copy");
                copy.saturation = shown.saturation;
                recipe.renditions.insert(rendition, copy);
            }
            7 if recipe.renditions.len() > 1 => {
                recipe.renditions.remove(rendition);
            }
            8 => {
                let colors = shown.colors.values().cycle();
                let own = recipe.renditions[rendition].colors.values_mut();
                for (own, color) in own.zip(colors) {
                    own.clone_from(color);
                }
            }
            9 => recipe.renditions[rendition]
                .balance
                .clone_from(&shown.balance),
            10 => recipe.renditions[rendition].stars = shown.stars,
            11 => recipe.about.clone_from(&other.about),
            12 => recipe.crop = recipe.crop.xor(Some(Crop::Common)),
            13 => recipe.channels[channel].width_nm = like.width_nm,
            14 => {
                let mut new = like.clone();
                new.id.push_str("-new");
                recipe.channels.push(new);
            }
            _ => recipe.ratios.clear(),
        }
        if check::whole(&recipe).is_ok() {
            held = recipe;
        }
    }
    held
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 1024,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Protects the words that a user wrote into a recipe from a save.
    #[test]
    fn an_edit_keeps_the_comments_of_what_it_leaves_alone(
        recipe in recipe().prop_map(on_lines),
        other in recipe(),
        edits in proptest::collection::vec((0_u8..16, any::<Index>(), any::<Index>()), 0..5),
    ) {
        let plain = text::write(&recipe).expect("a checked recipe");
        let wanted = edited(recipe, &other, &edits);
        let (own, owned) = commented(&plain);
        prop_assert_eq!(rewrite::edited(&own, &text::parse(&own, "").expect("sound")), Some(own.clone()));
        let saved = rewrite::edited(&own, &wanted);
        prop_assert!(saved.is_some(), "not edited:\n{own}");
        let saved = saved.unwrap_or_default();
        prop_assert_eq!(text::parse(&saved, ""), Ok(wanted.clone()));
        let after = text::write(&wanted).expect("a checked recipe");
        let after: BTreeSet<Line> = lines(&after).into_iter().flatten().collect();
        for (line, words) in owned {
            if after.contains(&line) {
                for word in words {
                    prop_assert!(saved.contains(&word), "{word} of {line:?}\n{own}\n-> {saved}");
                }
            }
        }
        prop_assert!(saved.starts_with("# the whole\n"), "{saved}");
        prop_assert!(saved.ends_with("# the end\n"), "{saved}");
    }
}
