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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text::parse;

    /// Protects that two channels of one line are told apart wherever they are named.
    #[test]
    fn channels_of_one_line_are_called_by_their_ids() {
        let channel = |id: &str, line: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"{id}.fits\"\nline = \"{line}\"\n\
                 stretch = {{ black = 0, white = 1 }}\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}{}[[rendition]]\nid = \"one\"\ncolors = {{ ha = \"natural\" }}\n",
            channel("ha", "Ha"),
            channel("first", "OIII"),
            channel("second", "OIII"),
        );
        let recipe = parse(&text, "test").expect("sound");
        assert_eq!(all(&recipe), ["Hα", "[O III] (first)", "[O III] (second)"]);
        let shorts = recipe.channels.iter().map(|own| short(&recipe, own));
        assert_eq!(shorts.collect::<Vec<_>>(), ["Hα", "first", "second"]);
        assert_eq!(of_id(&recipe, "second"), "[O III] (second)");
        assert_eq!(of_id(&recipe, "gone"), "gone");
    }
}
