//! What channels are called.

use crate::engine::lines;
use crate::engine::recipe::{Channel, Recipe};

/// The symbol of its line.
pub fn symbol(channel: &Channel) -> String {
    lines::line(&channel.line).map_or_else(|| channel.line.clone(), |line| line.symbol.clone())
}

/// The symbol of its line, with the id where several channels hold the same line.
pub fn of(recipe: &Recipe, channel: &Channel) -> String {
    match shares_its_line(recipe, channel) {
        true => format!("{} ({})", symbol(channel), channel.id),
        false => symbol(channel),
    }
}

/// The same in little room: the id alone where the symbol would not tell.
pub fn short(recipe: &Recipe, channel: &Channel) -> String {
    match shares_its_line(recipe, channel) {
        true => channel.id.clone(),
        false => symbol(channel),
    }
}

/// By its id; the id itself where there is no such channel.
pub fn of_id(recipe: &Recipe, id: &str) -> String {
    let channel = recipe.channel(id);
    channel.map_or_else(|| id.to_owned(), |channel| of(recipe, channel))
}

/// Of all channels, in the recipe's order.
pub fn all(recipe: &Recipe) -> Vec<String> {
    let channels = recipe.channels.iter();
    channels.map(|channel| of(recipe, channel)).collect()
}

fn shares_its_line(recipe: &Recipe, channel: &Channel) -> bool {
    let own = symbol(channel);
    let alike = recipe.channels.iter().filter(|other| symbol(other) == own);
    alike.count() > 1
}
