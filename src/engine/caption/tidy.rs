//! Words from headers and people, made fit to stand in text, Markdown and HTML.

/// How a caption is written down.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Format {
    /// Plain text, paragraphs apart by an empty line.
    #[default]
    Text,
    /// CommonMark, with the special signs of its usual extensions escaped too.
    Markdown,
    /// A `<div>` of paragraphs, well-formed XML as well.
    Html,
}

impl Format {
    /// As the command line writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Markdown => "markdown",
            Self::Html => "html",
        }
    }

    /// Writes a tidied text down. `language` is a language tag: letters, digits
    /// and hyphens.
    pub fn write(self, text: &str, language: &str) -> String {
        let paragraphs = text.split("\n\n").filter(|text| !text.is_empty());
        match self {
            Self::Text => paragraphs.collect::<Vec<_>>().join("\n\n"),
            Self::Markdown => paragraphs.map(markdown).collect::<Vec<_>>().join("\n\n"),
            Self::Html => {
                let mut out = format!("<div lang=\"{}\">\n", html(language));
                for paragraph in paragraphs {
                    out.push_str(&format!("<p>{}</p>\n", html(paragraph)));
                }
                out.push_str("</div>");
                out
            }
        }
    }
}

impl std::str::FromStr for Format {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        [Self::Text, Self::Markdown, Self::Html]
            .into_iter()
            .find(|format| format.name() == text)
            .ok_or_else(|| "text, markdown or html".to_owned())
    }
}

/// One line of visible words: control characters, characters that turn the
/// direction of writing and other invisible ones go; every run of blanks
/// becomes one, and none is left at the ends.
pub fn words(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut blank = false;
    for c in text.chars() {
        if c.is_whitespace() || c.is_control() {
            blank = true;
        } else if !is_hidden(c) {
            if blank && !out.is_empty() {
                out.push(' ');
            }
            blank = false;
            out.push(c);
        }
    }
    out
}

/// Like [`words`], for a text of paragraphs: an empty line parts them.
pub fn paragraphs(text: &str) -> String {
    let mut out: Vec<String> = Vec::new();
    let mut open = String::new();
    for line in text.lines().chain([""]) {
        if line.trim().is_empty() {
            let tidy = words(&open);
            if !tidy.is_empty() {
                out.push(tidy);
            }
            open.clear();
        } else {
            open.push_str(line);
            open.push(' ');
        }
    }
    out.join("\n\n")
}

/// Whether a character shows nothing of itself: bidirectional controls (UAX 9),
/// zero-width and interlinear signs, tags, variation selectors beyond the usual,
/// and what is no character at all. The zero-width joiners stay: some languages
/// are written with them.
pub fn is_hidden(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}'
        | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
        | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
        || (c as u32) & 0xfffe == 0xfffe
        || ('\u{fdd0}'..='\u{fdef}').contains(&c)
}

/// Escapes text for HTML and XML, in content and in attributes.
pub fn html(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(c),
        }
    }
    out
}

/// Escapes one paragraph for Markdown. Signs that mean something anywhere always
/// get a backslash; those that mean something at the start of a line, after a
/// number there, or in an address only there: the text stays readable.
pub fn markdown(text: &str) -> String {
    const ALWAYS: &str = "\\`*_{}[]<>#|~&!^$@=";
    let mut out = String::with_capacity(text.len());
    let chars: Vec<char> = text.chars().collect();
    let numbered = chars.iter().take_while(|c| c.is_ascii_digit()).count();
    for (i, c) in chars.iter().enumerate() {
        let opens_list = (i == 0 && matches!(c, '+' | '-' | ':'))
            || (i == numbered && numbered > 0 && matches!(c, '.' | ')'));
        let before = |n: usize| {
            i >= n
                && chars[i - n..i]
                    .iter()
                    .collect::<String>()
                    .eq_ignore_ascii_case("www")
        };
        let address = (*c == ':' && chars.get(i + 1) == Some(&'/'))
            || (*c == '.' && before(3))
            || (*c == ':'
                && ["mailto", "xmpp"]
                    .iter()
                    .any(|scheme| ends_with(&chars[..i], scheme)));
        // Three dashes are a rule or an underline of a heading at most where a
        // paragraph is nothing else; an escaped first one is neither.
        if ALWAYS.contains(*c) || opens_list || address {
            out.push('\\');
        }
        out.push(*c);
    }
    out
}

fn ends_with(chars: &[char], word: &str) -> bool {
    let n = word.len();
    chars.len() >= n
        && chars[chars.len() - n..]
            .iter()
            .collect::<String>()
            .eq_ignore_ascii_case(word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_seen_goes() {
        assert_eq!(
            words("  Lantern\u{202e}\u{0}\tShell\r\n\u{2066}two\u{200b}\u{feff} "),
            "Lantern Shell two"
        );
        assert_eq!(words("a\u{9b}31mb\u{1b}[0m"), "a 31mb [0m");
        assert_eq!(words("\u{202e}\u{2028}"), "");
        assert_eq!(words("x\u{ffff}\u{fdd0}\u{e0041}y"), "xy");
        assert_eq!(paragraphs("a\nb\n \n\nc  d\n"), "a b\n\nc d");
    }

    #[test]
    fn each_format_has_its_own_escapes() {
        let hostile = "<b>&\"'*_`[x](y)#1|~!\\$";
        assert_eq!(
            Format::Html.write(hostile, "en"),
            "<div lang=\"en\">\n<p>&lt;b&gt;&amp;&quot;&#39;*_`[x](y)#1|~!\\$</p>\n</div>"
        );
        assert_eq!(
            Format::Markdown.write(hostile, "en"),
            "\\<b\\>\\&\"'\\*\\_\\`\\[x\\](y)\\#1\\|\\~\\!\\\\\\$"
        );
        assert_eq!(Format::Text.write(hostile, "en"), hostile);
        assert_eq!(markdown("1. no list"), "1\\. no list");
        assert_eq!(markdown("- no list. 1. 2"), "\\- no list. 1. 2");
        assert_eq!(
            markdown("http://a Www.b mailto:c"),
            "http\\://a Www\\.b mailto\\:c"
        );
        assert_eq!(markdown("--- a"), "\\--- a");
    }
}
