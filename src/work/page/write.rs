//! A page as HTML, from top to bottom.

use super::along::Download;
use super::content::{Content, Part};
use super::data::{address_of, only_this, relative_address};
use super::files::Staging;
use super::html::Html;
use super::table;
use crate::work::Error;
use crate::work::targets::bytes_words;

const STYLE: &str = include_str!("../../../assets/page/style.css");

// Moves the edge between two pictures.
const SCRIPT: &str = include_str!("../../../assets/page/edge.js");

/// What a page's files are called in it: paths in its folder, or the files
/// themselves where the page is one file.
struct Addresses<'a> {
    staging: &'a Staging,
    one_file: bool,
}

impl Addresses<'_> {
    fn of(&self, file: &str, mime: &str) -> Result<String, Error> {
        Ok(match self.one_file {
            true => address_of(mime, &self.staging.bytes(file)?),
            false => relative_address(file),
        })
    }

    fn size(&self, file: &str) -> String {
        let about = std::fs::metadata(self.staging.at(file));
        bytes_words(about.map_or(0, |about| about.len()))
    }
}

/// Writes the page.
///
/// # Errors
/// When a file that goes into it cannot be read.
pub fn page(content: &Content, staging: &Staging, one_file: bool) -> Result<String, Error> {
    let addresses = Addresses { staging, one_file };
    let mut html = Html::default();
    html.own("<!doctype html>\n")
        .open("html", &[("lang", "en")]);
    head(&mut html, content, one_file);
    html.line().open("body", &[]);
    top(&mut html, content);
    html.line().open("main", &[]);
    match content.parts.as_slice() {
        [first, second] => pair(&mut html, [first, second], &addresses)?,
        parts => single(&mut html, parts, content.alone.as_deref(), &addresses)?,
    }
    caption(&mut html, content);
    keys(&mut html, content);
    table::write(&mut html, content);
    facts(&mut html, content);
    downloads(&mut html, content, &addresses)?;
    html.close().line();
    html.open("footer", &[]);
    html.leaf("p", &[], &foot(content)).close();
    if content.parts.len() == 2 {
        html.line().open("script", &[]).own(SCRIPT).close();
    }
    Ok(html.finish())
}

// The style, with the shape of the pictures.
fn style(content: &Content) -> String {
    let size = content.parts.first().map(|part| part.picture.size);
    let (width, height) = size.map_or((1, 1), |size| (size.width, size.height.max(1)));
    let shape = width as f64 / height as f64;
    format!("{STYLE}\n:root {{ --shape: {shape:.4}; --width: {width}px; }}\n")
}

fn head(html: &mut Html, content: &Content, one_file: bool) {
    let style = style(content);
    let pictures = if one_file { "data:" } else { "'self'" };
    let mut policy = format!(
        "default-src 'none'; img-src {pictures}; style-src {}; ",
        only_this(&style)
    );
    if content.parts.len() == 2 {
        policy.push_str(&format!("script-src {}; ", only_this(SCRIPT)));
    }
    policy.push_str("base-uri 'none'; form-action 'none'");
    let meta = |html: &mut Html, name: &str, words: &str| {
        html.line()
            .void("meta", &[("name", name), ("content", words)]);
    };
    html.line().open("head", &[]);
    html.line().void("meta", &[("charset", "utf-8")]);
    html.line().void(
        "meta",
        &[
            ("http-equiv", "Content-Security-Policy"),
            ("content", &policy),
        ],
    );
    meta(html, "viewport", "width=device-width, initial-scale=1");
    meta(html, "referrer", "no-referrer");
    meta(html, "color-scheme", "light dark");
    meta(
        html,
        "generator",
        concat!("Linehue ", env!("CARGO_PKG_VERSION")),
    );
    meta(html, "description", &content.short);
    html.line().leaf("title", &[], &title(content));
    html.line().open("style", &[]).own(&style).close();
    html.line().close();
}

fn title(content: &Content) -> String {
    let labels: Vec<String> = content
        .parts
        .iter()
        .map(|part| part.label.to_lowercase())
        .collect();
    format!("{}: {}", content.title, labels.join(" and "))
}

fn top(html: &mut Html, content: &Content) {
    html.line().open("header", &[]);
    html.leaf("h1", &[], &content.title);
    let said: Vec<String> = content
        .parts
        .iter()
        .map(|part| format!("{}: {}.", part.label, part.manner))
        .collect();
    html.leaf("p", &[("class", "manner")], &said.join(" "))
        .close();
}

// Whether pictures were made for the page or taken from what was there.
fn foot(content: &Content) -> String {
    let mut words = format!("Made with {}.", content.made_with);
    for part in content.parts.iter().filter(|part| part.picture.taken) {
        let label = &part.label;
        words.push_str(&format!(" {label}: a copy of the composite, at this size."));
    }
    words
}

fn figure(
    html: &mut Html,
    part: &Part,
    which: usize,
    addresses: &Addresses<'_>,
) -> Result<(), Error> {
    let picture = &part.picture;
    let mime = match picture.file.ends_with(".png") {
        true => "image/png",
        false => "image/jpeg",
    };
    let address = addresses.of(&picture.file, mime)?;
    let (width, height) = (picture.size.width, picture.size.height);
    let id = format!("picture-{which}");
    html.line().open("figure", &[("id", &id)]);
    html.void(
        "img",
        &[
            ("src", &address),
            ("width", &width.to_string()),
            ("height", &height.to_string()),
            ("alt", &part.alt),
        ],
    );
    html.open("figcaption", &[]);
    html.leaf("strong", &[], &part.label);
    html.leaf("span", &[], &format!(", {}", part.manner));
    html.close().close();
    Ok(())
}

// Side by side; the script lays one upon the other and brings out the control.
fn pair(html: &mut Html, parts: [&Part; 2], addresses: &Addresses<'_>) -> Result<(), Error> {
    let [first, second] = parts;
    html.line().open(
        "section",
        &[("class", "pictures"), ("aria-label", "The two pictures")],
    );
    html.open("div", &[("id", "pair")]);
    html.open("div", &[("id", "stage")]);
    figure(html, first, 1, addresses)?;
    figure(html, second, 2, addresses)?;
    html.line().leaf(
        "span",
        &[("id", "divider"), ("data-live", ""), ("hidden", "")],
        "",
    );
    html.close();
    html.line().open(
        "div",
        &[("class", "control"), ("data-live", ""), ("hidden", "")],
    );
    let label = "Edge between the two; drag it here or on the picture, or use the arrow keys";
    html.leaf("label", &[("for", "edge")], label);
    html.leaf("span", &[("aria-hidden", "true")], &first.label);
    html.void(
        "input",
        &[
            ("type", "range"),
            ("id", "edge"),
            ("min", "0"),
            ("max", "100"),
            ("step", "1"),
            ("value", "50"),
            ("autocomplete", "off"),
            ("data-first", &first.label.to_lowercase()),
            ("data-second", &second.label.to_lowercase()),
        ],
    );
    html.leaf("span", &[("aria-hidden", "true")], &second.label);
    html.close().close().close();
    Ok(())
}

fn single(
    html: &mut Html,
    parts: &[Part],
    alone: Option<&str>,
    addresses: &Addresses<'_>,
) -> Result<(), Error> {
    html.line().open(
        "section",
        &[("class", "pictures single"), ("aria-label", "The picture")],
    );
    for part in parts {
        figure(html, part, 1, addresses)?;
    }
    if let Some(why) = alone {
        let words = format!("This page shows one rendition, without a comparison: {why}.");
        html.leaf("p", &[("class", "why")], &words);
    }
    html.close();
    Ok(())
}

fn caption(html: &mut Html, content: &Content) {
    html.line().open(
        "section",
        &[
            ("class", "caption"),
            ("aria-label", "Caption"),
            ("lang", &content.language),
        ],
    );
    for paragraph in content.long.iter().filter(|text| !text.is_empty()) {
        html.leaf("p", &[], paragraph);
    }
    html.close();
}

fn keys(html: &mut Html, content: &Content) {
    html.line().open("section", &[("aria-labelledby", "keys")]);
    html.leaf(
        "h2",
        &[("id", "keys")],
        "Which line is shown in which colour",
    );
    html.open("div", &[("class", "keys")]);
    for part in &content.parts {
        html.line().open("div", &[]);
        if content.parts.len() > 1 {
            html.leaf("h3", &[], &part.label);
        }
        let [light, dark] = &part.keys;
        html.open("div", &[("class", "in-light")])
            .own(light)
            .close();
        html.open("div", &[("class", "in-dark")]).own(dark).close();
        html.close();
    }
    html.close().close();
}

fn facts(html: &mut Html, content: &Content) {
    if content.taken.is_empty() {
        return;
    }
    html.line().open("section", &[("aria-labelledby", "taken")]);
    html.leaf("h2", &[("id", "taken")], "How it was taken");
    html.open("dl", &[]);
    for (name, words) in &content.taken {
        html.leaf("dt", &[], name).leaf("dd", &[], words);
    }
    html.close().close();
}

fn downloads(html: &mut Html, content: &Content, addresses: &Addresses<'_>) -> Result<(), Error> {
    if content
        .parts
        .iter()
        .all(|part| part.picture.downloads.is_empty())
    {
        return Ok(());
    }
    html.line().open(
        "section",
        &[("class", "files"), ("aria-labelledby", "files")],
    );
    html.leaf("h2", &[("id", "files")], "To keep and to check");
    html.open("ul", &[]);
    for part in &content.parts {
        for Download { file, what, mime } in &part.picture.downloads {
            let address = addresses.of(file, mime)?;
            let name = file.rsplit('/').next().unwrap_or(file);
            html.line().open("li", &[]);
            html.leaf("a", &[("href", &address), ("download", name)], name);
            let about = format!(
                "{what} ({}, {})",
                part.label.to_lowercase(),
                addresses.size(file)
            );
            html.words(" ").leaf("small", &[], &about).close();
        }
    }
    html.close().close();
    Ok(())
}
