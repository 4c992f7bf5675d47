//! Lists in a recipe's text: tables under headers, and arrays.

use toml_edit::{Array, ArrayOfTables, Item, RawString, Table, Value};

use super::{gaps, item, place_of, same, table, unplace, value};

/// The rows of a list, whichever way it is written; None: it is no list.
pub(super) fn rows(item: &Item) -> Option<Vec<Item>> {
    match item {
        Item::ArrayOfTables(tables) => Some(tables.iter().cloned().map(Item::Table).collect()),
        Item::Value(Value::Array(values)) => {
            Some(values.iter().cloned().map(Item::Value).collect())
        }
        _ => None,
    }
}

// For each row of `after`, the row of `before` that it was. Rows with an id go
// by it, and one that was renamed by its place; others by what surrounds the
// change.
fn origins(before: &[Item], after: &[Item]) -> Vec<Option<usize>> {
    let ids = |rows: &[Item]| -> Option<Vec<String>> {
        rows.iter()
            .map(|row| Some(row.as_table_like()?.get("id")?.as_str()?.to_owned()))
            .collect()
    };
    if let Some((before, after)) = ids(before).zip(ids(after)) {
        let renamed = |index: usize, id: &String| {
            let old = before.get(index)?;
            (!after.contains(old) && !before.contains(id)).then_some(index)
        };
        let by_id = |id: &String| before.iter().position(|other| other == id);
        return after
            .iter()
            .enumerate()
            .map(|(index, id)| by_id(id).or_else(|| renamed(index, id)))
            .collect();
    }
    let shorter = before.len().min(after.len());
    let alike = |(one, other): &(&Item, &Item)| same(one, other);
    let head = before.iter().zip(after).take_while(alike).count();
    let tail = (before.iter().rev().zip(after.iter().rev()))
        .take(shorter - head)
        .take_while(alike)
        .count();
    let changed = shorter - head - tail;
    (0..after.len())
        .map(|index| {
            if index < head + changed {
                Some(index)
            } else if index + tail >= after.len() {
                Some(index + before.len() - after.len())
            } else {
                None
            }
        })
        .collect()
}

/// Edits tables under headers; false where they do not hold what `before` does.
pub(super) fn tables(own: &mut ArrayOfTables, before: &[Item], after: &[Item]) -> bool {
    if own.len() != before.len() {
        return false;
    }
    let origins = origins(before, after);
    let mut old: Vec<Option<Table>> = own.iter().cloned().map(Some).collect();
    let pattern = own.iter().last().cloned();
    let mut rows = Vec::new();
    let mut kept = Vec::new();
    for (origin, new) in origins.iter().zip(after) {
        let there = origin.and_then(|index| Some((index, old.get_mut(index)?.take()?)));
        let Some(new) = new.as_table_like() else {
            return false;
        };
        if let Some((index, mut row)) = there
            && let Some(was) = before[index].as_table_like()
        {
            let place = place_of(&row, false);
            table(&mut row, was, new, place);
            kept.push((index, rows.len()));
            rows.push(row);
            continue;
        }
        let mut row = Table::new();
        for (key, item) in new.iter() {
            row.insert(key, item.clone());
        }
        unplace(&mut row);
        spell_like(&mut row, pattern.as_ref());
        rows.push(row);
    }
    let order: Vec<usize> = origins.into_iter().flatten().collect();
    if !order.is_sorted() {
        let mut blocks: Vec<&mut Table> = rows
            .iter_mut()
            .enumerate()
            .filter(|(at, _)| kept.iter().any(|(_, kept)| kept == at))
            .map(|(_, row)| row)
            .collect();
        stand_in_order(&mut blocks);
    }
    // Rows that are gone leave what stood over more than themselves.
    for (index, gone) in old.iter().enumerate().rev() {
        let below = kept.iter().filter(|(origin, _)| *origin > index).min();
        if let (Some(gone), Some((_, below))) = (gone, below) {
            let words = format!("{}{}", heading(gone), prefix(&rows[*below]));
            rows[*below].decor_mut().set_prefix(words);
        }
    }
    own.clear();
    for row in rows {
        own.push(row);
    }
    true
}

fn prefix(table: &Table) -> &str {
    let prefix = table.decor().prefix().and_then(RawString::as_str);
    prefix.unwrap_or("\n")
}

// Comments over a row with a blank line between are of a whole part of the text.
fn heading(table: &Table) -> &str {
    let words = prefix(table);
    let end = words.rfind("\n\n").map_or(0, |at| at + 1);
    let heading = &words[..end];
    if heading.contains('#') { heading } else { "" }
}

// What another row has in braces is in braces in a new one.
fn spell_like(row: &mut Table, pattern: Option<&Table>) {
    for (mut key, item) in row.iter_mut() {
        let other = pattern.and_then(|pattern| pattern.get(key.get()));
        if other.is_some_and(Item::is_value)
            && let Some(value) = value(item)
        {
            key.leaf_decor_mut().clear();
            *item = Item::Value(value);
        } else if let Item::Value(value) = item {
            value.decor_mut().clear();
        }
    }
}

// The places that the tables of all blocks have in the text, given out anew
// from the first block to the last.
fn stand_in_order(blocks: &mut [&mut Table]) {
    let mut places: Vec<Vec<isize>> = Vec::new();
    for block in blocks.iter_mut() {
        let mut own = Vec::new();
        each_place(block, &mut |place| own.push(*place));
        own.sort_unstable();
        places.push(own);
    }
    let mut all: Vec<isize> = places.iter().flatten().copied().collect();
    all.sort_unstable();
    let mut first = 0;
    for (block, own) in blocks.iter_mut().zip(places) {
        each_place(block, &mut |place| {
            let rank = own.partition_point(|other| other < place);
            *place = all[first + rank];
        });
        first += own.len();
    }
}

fn each_place(table: &mut Table, with: &mut impl FnMut(&mut isize)) {
    if let Some(mut place) = table.position() {
        with(&mut place);
        table.set_position(Some(place));
    }
    for (_, item) in table.iter_mut() {
        match item {
            Item::Table(table) => each_place(table, with),
            Item::ArrayOfTables(tables) => {
                tables.iter_mut().for_each(|table| each_place(table, with));
            }
            Item::Value(_) | Item::None => {}
        }
    }
}

/// Edits an array; false where it does not hold what `before` does, or where
/// its rows change their order.
pub(super) fn values(own: &mut Array, before: &[Item], after: &[Item]) -> bool {
    let origins = origins(before, after);
    let order: Vec<usize> = origins.iter().copied().flatten().collect();
    if own.len() != before.len() || !order.is_sorted() {
        return false;
    }
    let mut rows = Vec::new();
    for (origin, new) in origins.iter().zip(after) {
        let there = origin.and_then(|index| Some((index, own.get(index)?.clone())));
        let row = match there {
            Some((index, row)) if same(&before[index], new) => Some(row),
            Some((index, row)) => {
                let mut row = Item::Value(row);
                item(&mut row, Some(&before[index]), new);
                row.into_value().ok()
            }
            None => value(new),
        };
        let Some(row) = row else { return false };
        rows.push((*origin, row));
    }
    gaps::fill_array(own, rows);
    true
}
