//! How messages are written in the window.

/// A message of a command as a sentence of its own: it begins with a capital,
/// unless with a name, and ends with a full stop.
pub fn sentence(message: &str) -> String {
    let message = message.trim();
    let first = message.split_whitespace().next().unwrap_or_default();
    let is_sign = |letter: char| !letter.is_alphabetic() && !['\'', ','].contains(&letter);
    // What no word has, and a letter alone: file names, paths, ids of channels.
    let is_name = first.contains(is_sign) || first.chars().count() == 1 && first != "a";
    let mut letters = message.chars();
    let start: String = match letters.next() {
        Some(letter) if !is_name => letter.to_uppercase().collect(),
        Some(letter) => letter.into(),
        None => return String::new(),
    };
    let end = match message.ends_with(['.', '!', '?']) || message.ends_with(".)") {
        true => "",
        false => ".",
    };
    format!("{start}{}{end}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_become_sentences_and_names_stay() {
        for (message, written) in [
            ("no star is there", "No star is there."),
            ("ha: it has no noise", "ha: it has no noise."),
            ("shell.fits is empty", "shell.fits is empty."),
            ("Really?", "Really?"),
            ("r is not in memory yet", "r is not in memory yet."),
            ("oiii-2 is empty", "oiii-2 is empty."),
            ("a band is missing", "A band is missing."),
            (
                "give all three (as numbers.)",
                "Give all three (as numbers.)",
            ),
            (" ", ""),
        ] {
            assert_eq!(sentence(message), written);
        }
    }
}
