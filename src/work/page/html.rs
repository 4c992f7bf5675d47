//! HTML with everything escaped: elements, attributes and words, never markup
//! from elsewhere.

use std::fmt::Write as _;

use crate::engine::caption::tidy;

/// A page in the making. Elements close in the order in which they opened.
#[derive(Debug, Default)]
pub struct Html {
    text: String,
    open: Vec<&'static str>,
}

/// Name and value of an attribute.
pub type Attribute<'a> = (&'static str, &'a str);

impl Html {
    /// Opens an element.
    pub fn open(&mut self, name: &'static str, attributes: &[Attribute<'_>]) -> &mut Self {
        self.tag(name, attributes);
        self.open.push(name);
        self
    }

    /// Closes the element that was opened last.
    pub fn close(&mut self) -> &mut Self {
        if let Some(name) = self.open.pop() {
            write!(self.text, "</{name}>").ok();
        }
        self
    }

    /// Adds words; what is no visible character goes.
    pub fn words(&mut self, words: &str) -> &mut Self {
        self.text.push_str(&escaped(words));
        self
    }

    /// Adds an element with words in it.
    pub fn leaf(
        &mut self,
        name: &'static str,
        attributes: &[Attribute<'_>],
        words: &str,
    ) -> &mut Self {
        self.open(name, attributes).words(words).close()
    }

    /// Adds an element that has no content, such as `img`.
    pub fn void(&mut self, name: &'static str, attributes: &[Attribute<'_>]) -> &mut Self {
        self.tag(name, attributes);
        self
    }

    /// Begins a new line of the file.
    pub fn line(&mut self) -> &mut Self {
        self.text.push('\n');
        self
    }

    /// Adds markup of our own: a drawing, the style, the script.
    pub fn own(&mut self, markup: &str) -> &mut Self {
        self.text.push_str(markup);
        self
    }

    /// The text; every element is closed.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text.push('\n');
        self.text
    }

    fn tag(&mut self, name: &'static str, attributes: &[Attribute<'_>]) {
        write!(self.text, "<{name}").ok();
        for (name, value) in attributes {
            write!(self.text, " {name}=\"{}\"", escaped(value)).ok();
        }
        self.text.push('>');
    }
}

// Control characters and such as turn the direction of writing have no place
// in names; the escapes serve content and attributes in quotes alike.
fn escaped(text: &str) -> String {
    let visible = text
        .chars()
        .filter(|c| !c.is_control() && !tidy::is_hidden(*c));
    tidy::html(&visible.collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_attributes_stay_words() {
        let hostile = "\"><script>alert('x')</script>\u{0}\u{202e}&amp;";
        let mut html = Html::default();
        html.open("p", &[("title", hostile)]).words(hostile);
        html.void("img", &[("alt", hostile)]);
        let text = html.finish();
        assert!(!text.contains("<script"), "{text}");
        let safe = "&quot;&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;&amp;amp;";
        assert_eq!(
            text,
            format!("<p title=\"{safe}\">{safe}<img alt=\"{safe}\"></p>\n")
        );
    }

    #[test]
    fn what_was_opened_is_closed_in_order() {
        let mut html = Html::default();
        html.open("main", &[]).open("p", &[]).words("a");
        assert_eq!(html.finish(), "<main><p>a</p></main>\n");
    }
}
