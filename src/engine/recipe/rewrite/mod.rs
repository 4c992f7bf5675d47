//! A recipe's own text, changed only where the recipe changed.
//!
//! What somebody wrote into a recipe (comments, the order of keys, blank lines,
//! how numbers and tables are spelled) is theirs. Two recipes in the program's
//! own spelling, the one that the text holds and the one that it is to hold,
//! say what changed; only that is changed in the text.

mod gaps;

mod list;

use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use super::Recipe;
use super::text::{parse, write};

/// `text`, edited so that it reads as `recipe`. The same bytes where it does so
/// already. None where it is no recipe, or cannot be edited into this one: the
/// whole text is written anew then.
pub fn edited(text: &str, recipe: &Recipe) -> Option<String> {
    let held = parse(text, "").ok()?;
    if held == *recipe {
        return Some(text.to_owned());
    }
    let plain = |recipe: &Recipe| write(recipe).ok()?.parse::<DocumentMut>().ok();
    let (before, after) = (plain(&held)?, plain(recipe)?);
    let mut document: DocumentMut = text.parse().ok()?;
    let root = document.as_table_mut();
    table(root, before.as_table(), after.as_table(), Place::Open);
    let edited = line_ends_of(text, document.to_string());
    (parse(&edited, "").as_ref() == Ok(recipe)).then_some(edited)
}

// The document writes its own line ends; a text keeps the ones that it has.
fn line_ends_of(text: &str, edited: String) -> String {
    let edited = if text.contains("\r\n") {
        edited.replace("\r\n", "\n").replace('\n', "\r\n")
    } else {
        edited
    };
    if text.starts_with('\u{feff}') && !edited.starts_with('\u{feff}') {
        return format!("\u{feff}{edited}");
    }
    edited
}

/// Whether a table may hold tables under headers of their own.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Open,
    /// In braces, or of dotted keys.
    Closed,
}

fn place_of(own: &dyn TableLike, is_inline: bool) -> Place {
    if is_inline || own.is_dotted() {
        Place::Closed
    } else {
        Place::Open
    }
}

// What is between `before` and `after` is done to `own`, which holds what
// `before` does in a spelling of its own.
fn table(own: &mut dyn TableLike, before: &dyn TableLike, after: &dyn TableLike, place: Place) {
    for (key, _) in before.iter() {
        if after.get(key).is_none() {
            own.remove(key);
        }
    }
    for (key, new) in after.iter() {
        let old = before.get(key);
        if old.is_some_and(|old| same(old, new)) {
            continue;
        }
        match own.get_mut(key) {
            Some(there) => {
                let had_header = !there.is_value();
                item(there, old, new);
                if had_header
                    && there.is_value()
                    && let Some(mut key) = own.key_mut(key)
                {
                    // A key of a header has no blank after it.
                    key.leaf_decor_mut().clear();
                }
            }
            None => {
                own.insert(key, fresh(key, new, place));
            }
        }
    }
}

fn item(own: &mut Item, old: Option<&Item>, new: &Item) {
    let tables = old.and_then(Item::as_table_like).zip(new.as_table_like());
    if let Some((before, after)) = tables {
        match own {
            Item::Table(own) => {
                let place = place_of(own, false);
                table(own, before, after, place);
                return;
            }
            Item::Value(Value::InlineTable(own)) => {
                gaps::keep_in_table(own, |own| table(own, before, after, Place::Closed));
                return;
            }
            _ => {}
        }
    }
    if let Some((before, after)) = old.and_then(list::rows).zip(list::rows(new)) {
        let done = match own {
            Item::ArrayOfTables(own) => list::tables(own, &before, &after),
            Item::Value(Value::Array(own)) => list::values(own, &before, &after),
            _ => false,
        };
        if done {
            return;
        }
    }
    replace(own, new);
}

// Another value in the same place, the comment behind it kept.
fn replace(own: &mut Item, new: &Item) {
    match (own, value(new)) {
        (Item::Value(own), Some(mut new)) => {
            *new.decor_mut() = own.decor().clone();
            *own = new;
        }
        (own, _) => *own = fresh("", new, Place::Open),
    }
}

// As a value, without the spaces that it had where it came from.
fn value(item: &Item) -> Option<Value> {
    let mut value = item.clone().into_value().ok()?;
    value.decor_mut().clear();
    if let Value::InlineTable(table) = &mut value {
        table.fmt();
    }
    Some(value)
}

// A new item as the program itself spells it.
fn fresh(key: &str, item: &Item, place: Place) -> Item {
    if (place == Place::Closed || is_color(item))
        && let Some(value) = value(item)
    {
        return Item::Value(value);
    }
    let mut item = item.clone();
    match &mut item {
        Item::Value(value) => value.decor_mut().clear(),
        Item::Table(table) => {
            unplace(table);
            // Words about the whole picture stand before its channels.
            table.set_position((key == "about").then_some(-1));
        }
        Item::ArrayOfTables(tables) => tables.iter_mut().for_each(unplace),
        Item::None => {}
    }
    item
}

// A colour by its hue is one value, and stands on one line.
fn is_color(item: &Item) -> bool {
    item.as_table()
        .is_some_and(|table| table.contains_key("hue"))
}

// A table that follows what stands before it, one blank line between.
fn unplace(table: &mut Table) {
    table.set_position(None);
    table.decor_mut().clear();
    for (mut key, item) in table.iter_mut() {
        if is_color(item)
            && let Some(value) = value(item)
        {
            // A key of a header has no blank after it.
            key.leaf_decor_mut().clear();
            *item = Item::Value(value);
        }
        match item {
            Item::Table(table) => unplace(table),
            Item::ArrayOfTables(tables) => tables.iter_mut().for_each(unplace),
            Item::Value(_) | Item::None => {}
        }
    }
}

// Whether two items of the program's own spelling say the same.
fn same(one: &Item, other: &Item) -> bool {
    if let Some((one, other)) = one.as_table_like().zip(other.as_table_like()) {
        let held = |(key, item): (&str, &Item)| other.get(key).is_some_and(|own| same(item, own));
        return one.len() == other.len() && one.iter().all(held);
    }
    if let Some((one, other)) = list::rows(one).zip(list::rows(other)) {
        let mut pairs = one.iter().zip(&other);
        return one.len() == other.len() && pairs.all(|(one, other)| same(one, other));
    }
    match (one.as_value(), other.as_value()) {
        (Some(Value::String(one)), Some(Value::String(other))) => one.value() == other.value(),
        (Some(Value::Integer(one)), Some(Value::Integer(other))) => one.value() == other.value(),
        (Some(Value::Float(one)), Some(Value::Float(other))) => one.value() == other.value(),
        (Some(Value::Boolean(one)), Some(Value::Boolean(other))) => one.value() == other.value(),
        _ => false,
    }
}

#[cfg(test)]
mod tests;
