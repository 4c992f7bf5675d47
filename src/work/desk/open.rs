//! Opening files: what they are, what the recipe becomes, then their pixels.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use super::found::{self, Found};
use super::recognise::{self, Seen};
use super::tell::Tell;
use super::{Event, RowState, join, load};
use crate::engine::recipe::{Channel, Ratio, Recipe};
use crate::io::read::{self, Pick};
use crate::io::record;
use crate::work::inputs::{folder_of, relative};
use crate::work::{Error, ratio, recipe_file, verify};

// What lies on the desk, or will.
struct Desk {
    recipe: Recipe,
    folder: PathBuf,
    path: Option<PathBuf>,
    /// It was opened just now: all of its channels are to be read.
    fresh: bool,
    /// The map whose record was opened.
    ratio: Option<Ratio>,
}

/// Opens what was named.
///
/// # Errors
/// A recipe or a record that does not hold; nothing to open at all.
pub fn run(
    paths: &[PathBuf],
    onto: Option<(Recipe, PathBuf)>,
    lines: &[(PathBuf, String)],
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let mut found = found::look(paths);
    let mut notices = std::mem::take(&mut found.notices);
    let mut desk = onto.map(|(recipe, folder)| Desk {
        recipe,
        folder,
        path: None,
        fresh: false,
        ratio: None,
    });
    if let Some(opened) = recipe_in(&found, &mut notices)? {
        desk = Some(opened);
    }
    let folder = match (&desk, found.stacks.first()) {
        (Some(desk), _) => desk.folder.clone(),
        (None, Some(first)) => absolute(folder_of(first)),
        (None, None) => {
            return Err(match notices.into_iter().next() {
                Some(notice) => Error::request(notice, "open files, or a folder that holds some"),
                None => Error::request("there is nothing to open", "name files or a folder"),
            });
        }
    };
    let old: Vec<Channel> = desk
        .as_ref()
        .map_or_else(Vec::new, |desk| desk.recipe.channels.clone());
    let mut channels = old.clone();
    // That a file is on the desk already is no news worth a new recipe.
    let mut taken = Vec::new();
    for path in &found.stacks {
        row(tell, path, RowState::Waiting);
    }
    for path in &found.stacks {
        tell.control().check()?;
        let flag = tell.stops.part(&[&path.to_string_lossy()]);
        if flag.load(Ordering::Relaxed) {
            row(tell, path, RowState::Cancelled);
            continue;
        }
        let seen = match recognise::look(path, recognise::said(lines, path)) {
            Ok(seen) => seen,
            Err(error) => {
                let (what, hint) = (error.to_string(), error.hint());
                row(tell, path, RowState::Failed { what, hint });
                continue;
            }
        };
        match seen {
            Seen::Unclear { why, guesses } => {
                row(tell, path, RowState::NeedsLine { why, guesses });
            }
            Seen::Channels {
                channels: new,
                notices: more,
            } => {
                let count = channels.len();
                let mut first = None;
                for channel in new {
                    let there = channels.iter().find(|other| {
                        join::on_desk(std::slice::from_ref(*other), &folder, path, &channel)
                    });
                    let id = match there {
                        Some(there) => there.id.clone(),
                        None => join::add(
                            &mut channels,
                            Channel {
                                file: relative(&folder, path),
                                ..channel
                            },
                        ),
                    };
                    first.get_or_insert(id);
                }
                if channels.len() == count {
                    notices.push(format!("{}: it is on the desk already", path.display()));
                } else {
                    notices.extend(more);
                }
                taken.extend(first.map(|id| (path, id)));
            }
        }
    }
    let new = &channels[old.len()..];
    let fresh: Vec<String> = new.iter().map(|channel| channel.id.clone()).collect();
    let recipe = match &desk {
        Some(desk) if new.is_empty() => Some(desk.recipe.clone()),
        Some(desk) => Some(join::onto(&desk.recipe, new, &mut notices)?),
        None if new.is_empty() => None,
        None => {
            let object = object_of(&channels, &folder);
            Some(join::new(channels.clone(), object, &mut notices)?)
        }
    };
    let mut places = load::Places::new();
    for (path, channel) in taken {
        let file = |other: &&Channel| other.id == channel;
        if let Some(file) = channels.iter().find(file).map(|channel| &channel.file) {
            places.insert(file.clone(), path.clone());
        }
        row(tell, path, RowState::Taken { channel });
    }
    let Some(recipe) = recipe else {
        // The rows have said why.
        return Ok(());
    };
    let whole = desk.as_ref().is_some_and(|desk| desk.fresh);
    if fresh.is_empty() && !whole && notices.is_empty() {
        return Ok(());
    }
    tell.event(Event::Opened {
        ticket: tell.ticket,
        recipe: Box::new(recipe.clone()),
        folder: folder.clone(),
        is_kept: whole && fresh.is_empty(),
        ratio: desk
            .as_ref()
            .and_then(|desk| desk.ratio.clone())
            .map(Box::new),
        path: desk.and_then(|desk| desk.path),
        notices,
    });
    let wanted: Vec<usize> = (0..recipe.channels.len())
        .filter(|index| whole || fresh.contains(&recipe.channels[*index].id))
        .collect();
    load::layers(&recipe, &folder, &wanted, &fresh, &places, tell)
}

fn row(tell: &Tell<'_>, path: &Path, state: RowState) {
    tell.event(Event::Row {
        ticket: tell.ticket,
        path: path.to_owned(),
        state,
    });
}

fn absolute(folder: &Path) -> PathBuf {
    std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned())
}

// The first recipe, or else the first record's.
fn recipe_in(found: &Found, notices: &mut Vec<String>) -> Result<Option<Desk>, Error> {
    let others = found.recipes.iter().chain(&found.records).skip(1);
    for other in others {
        notices.push(format!(
            "{}: one recipe is opened at a time; this one was left",
            other.display()
        ));
    }
    if let Some(path) = found.recipes.first() {
        return Ok(Some(Desk {
            recipe: recipe_file::read(path)?,
            folder: absolute(folder_of(path)),
            path: Some(path.clone()),
            fresh: true,
            ratio: None,
        }));
    }
    let Some(path) = found.records.first() else {
        return Ok(None);
    };
    let folder = absolute(folder_of(path));
    let (mut recipe, inputs, map) = match ratio::read_record(path)? {
        Some(told) => {
            let inputs = told
                .inputs()
                .map(|(id, file)| (id.to_owned(), file.to_owned()));
            let inputs: Vec<_> = inputs.collect();
            (told.recipe().clone(), inputs, Some(told.ratio().clone()))
        }
        None => {
            let record = record::read(path)?;
            let inputs = record.inputs.into_iter();
            let inputs = inputs.map(|input| (input.channel, input.file)).collect();
            (record.recipe, inputs, None)
        }
    };
    // The recipe lay elsewhere; the record says where its inputs are from here.
    for channel in &mut recipe.channels {
        let Some((_, file)) = inputs.iter().find(|(id, _)| *id == channel.id) else {
            continue;
        };
        channel.file = match verify::find(&folder, None, file) {
            Some(place) => relative(&folder, &place),
            None => file.clone(),
        };
    }
    notices.push(format!(
        "the recipe comes from the record {}: save it under a name of its own",
        path.display()
    ));
    Ok(Some(Desk {
        recipe,
        folder,
        path: None,
        fresh: true,
        ratio: map,
    }))
}

// The first name of a target that a header gives.
fn object_of(channels: &[Channel], folder: &Path) -> String {
    channels
        .iter()
        .find_map(|channel| {
            let pick = Pick {
                hdu: channel.hdu,
                plane: channel.plane,
            };
            let opened = read::open(&folder.join(&channel.file), pick).ok()?;
            opened.facts.header.text("OBJECT")
        })
        .unwrap_or_default()
}
