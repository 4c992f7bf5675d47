//! A filter's name in pieces: words and numbers, whatever stands between them.

/// A run of letters or a number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    /// Lower case; digits with at most one point.
    pub text: String,
    /// The number, where it is one.
    pub number: Option<f64>,
    /// Nothing stood between it and the piece before.
    pub glued: bool,
}

impl Piece {
    /// Whether it is a word, and this one.
    pub fn is(&self, word: &str) -> bool {
        self.text == word
    }
}

/// One letter under the many forms that Unicode has for it, lower case.
fn fold(c: char, out: &mut String) {
    match c {
        'α' | 'Α' => out.push_str("alpha"),
        'β' | 'Β' | 'ß' => out.push_str("beta"),
        'γ' | 'Γ' => out.push_str("gamma"),
        'δ' | 'Δ' => out.push_str("delta"),
        'Å' | 'å' | '\u{212b}' => out.push_str("angstrom"),
        // Full-width forms of ASCII.
        '\u{ff01}'..='\u{ff5e}' => {
            let ascii = char::from_u32(c as u32 - 0xff01 + 0x21).unwrap_or(' ');
            out.extend(ascii.to_lowercase());
        }
        // Roman numerals that are one character.
        'Ⅰ' | 'ⅰ' => out.push('i'),
        'Ⅱ' | 'ⅱ' => out.push_str("ii"),
        'Ⅲ' | 'ⅲ' => out.push_str("iii"),
        'Ⅳ' | 'ⅳ' => out.push_str("iv"),
        'Ⅴ' | 'ⅴ' => out.push('v'),
        _ => out.extend(c.to_lowercase()),
    }
}

/// Cuts `text` into pieces. A comma or point between digits is a decimal one.
pub(super) fn pieces(text: &str) -> Vec<Piece> {
    let mut folded = String::with_capacity(text.len());
    text.chars().for_each(|c| fold(c, &mut folded));
    let chars: Vec<char> = folded.chars().collect();
    let mut pieces: Vec<Piece> = Vec::new();
    let mut at = 0;
    let mut end_of_last = None;
    while at < chars.len() {
        let start = at;
        let digit = |i: usize| chars.get(i).is_some_and(char::is_ascii_digit);
        let mut word = String::new();
        if digit(at) {
            let mut pointed = false;
            while digit(at)
                || (!pointed && matches!(chars.get(at), Some('.' | ',')) && digit(at + 1))
            {
                pointed |= !digit(at);
                word.push(if digit(at) { chars[at] } else { '.' });
                at += 1;
            }
        } else {
            while chars.get(at).is_some_and(|c| c.is_alphabetic()) {
                word.push(chars[at]);
                at += 1;
            }
        }
        if at == start {
            at += 1;
            continue;
        }
        pieces.push(Piece {
            number: word.parse().ok().filter(|_| chars[start].is_ascii_digit()),
            text: word,
            glued: end_of_last == Some(start),
        });
        end_of_last = Some(at);
    }
    pieces
}

/// `spelling` with the roman numeral at its end in arabic figures.
pub(super) fn arabic(spelling: &str) -> Option<String> {
    let numerals = [("iii", '3'), ("ii", '2'), ("i", '1'), ("v", '5')];
    let (roman, figure) = numerals
        .into_iter()
        .find(|(roman, _)| spelling.ends_with(roman))?;
    let stem = spelling.strip_suffix(roman)?;
    // "v" alone is a band, "lumi" a word.
    (!stem.is_empty() && stem != "lum").then(|| format!("{stem}{figure}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(text: &str) -> Vec<String> {
        pieces(text).into_iter().map(|piece| piece.text).collect()
    }

    #[test]
    fn words_and_numbers_come_apart() {
        assert_eq!(texts("[O III] 3 nm"), ["o", "iii", "3", "nm"]);
        assert_eq!(texts("HALPHA5"), ["halpha", "5"]);
        assert_eq!(texts("Hα 6,5nm"), ["halpha", "6.5", "nm"]);
        assert_eq!(texts("a.1.2.3"), ["a", "1.2", "3"]);
        assert_eq!(texts("ＯⅢ"), ["oiii"]);
        assert_eq!(texts(" ,.-' "), Vec::<String>::new());
        assert_eq!(texts("g'"), ["g"]);
    }

    #[test]
    fn glue_is_noticed() {
        let glued: Vec<bool> = pieces("S2-7nm").iter().map(|piece| piece.glued).collect();
        assert_eq!(glued, [false, true, false, true]);
    }

    #[test]
    fn numerals_turn_into_figures() {
        assert_eq!(arabic("oiii").as_deref(), Some("o3"));
        assert_eq!(arabic("nii").as_deref(), Some("n2"));
        assert_eq!(arabic("nev").as_deref(), Some("ne5"));
        assert_eq!(arabic("sulphurii").as_deref(), Some("sulphur2"));
        assert_eq!(arabic("v"), None);
        assert_eq!(arabic("lumi"), None);
        assert_eq!(arabic("halpha"), None);
    }
}
