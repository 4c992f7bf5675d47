//! What a key says: which line, at which wavelength, in which colour.

use crate::engine::color::space::Space;
use crate::engine::key::Kind;
use crate::engine::lines;
use crate::engine::mix::assign::AssignError;
use crate::engine::recipe::{Recipe, Rendition};
use crate::io::draw::on_one_line;
use crate::work::describe;

/// A channel that gives colour.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The channel's id.
    pub channel: String,
    /// As it is printed: "Hα"; with the channel's id where two share it.
    pub symbol: String,
    /// In words: "hydrogen-alpha".
    pub name: String,
    /// Line or broad band.
    pub kind: Kind,
    /// Middle of the passband, nm.
    pub center_nm: f64,
    /// Its colour, linear sRGB, unbounded.
    pub linear_srgb: [f64; 3],
    /// One word for the colour that is seen: "orange".
    pub word: String,
    /// Whether it is the light's own colour.
    pub natural: bool,
}

/// What is said of a rendition.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// The picture's title.
    pub title: String,
    /// Id of the rendition.
    pub rendition: String,
    /// "Mapped colour, not what an eye would see".
    pub manner: &'static str,
    /// By wavelength, rising.
    pub lines: Vec<Line>,
    /// "Brightness from L"; empty where it is the mix's own.
    pub brightness: String,
    /// The line to print under the picture.
    pub credit: String,
}

/// Gathers what is said of a rendition.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn facts(recipe: &Recipe, rendition: &Rendition) -> Result<Facts, AssignError> {
    let entries = describe::entries(recipe, rendition, Space::Srgb)?;
    let mut lines: Vec<Line> = entries
        .iter()
        .filter_map(|entry| {
            let line = lines::line(&entry.line)?;
            let alike = entries.iter().filter(|other| other.line == entry.line);
            let symbol = if alike.count() > 1 {
                format!("{} ({})", line.symbol, entry.channel)
            } else {
                line.symbol.clone()
            };
            Some(Line {
                channel: entry.channel.clone(),
                symbol,
                name: line.name.clone(),
                kind: if line.is_broad() {
                    Kind::Broad
                } else {
                    Kind::Line
                },
                center_nm: entry.center_nm,
                linear_srgb: entry.linear_srgb,
                word: match entry.word() {
                    "Grayscale" => "white".to_owned(),
                    word => word.to_lowercase(),
                },
                natural: entry.natural,
            })
        })
        .collect();
    lines.sort_by(|a, b| a.center_nm.total_cmp(&b.center_nm));
    let natural = lines.iter().filter(|line| line.natural).count();
    let manner = if natural == lines.len() {
        "Natural colour: each light in its own hue"
    } else if natural == 0 {
        "Mapped colour, not what an eye would see"
    } else {
        "Partly mapped colour, not what an eye would see"
    };
    let about = &recipe.about;
    let title = [&about.title, &about.object]
        .map(|text| on_one_line(text))
        .into_iter()
        .find(|text| !text.is_empty())
        .unwrap_or_else(|| "A picture of the sky".to_owned());
    Ok(Facts {
        title,
        rendition: rendition.id.clone(),
        manner,
        lines,
        brightness: brightness(recipe, rendition),
        credit: on_one_line(&about.credit),
    })
}

fn brightness(recipe: &Recipe, rendition: &Rendition) -> String {
    let Some(luminance) = &rendition.luminance else {
        return String::new();
    };
    let symbols: Vec<&str> = recipe
        .channels
        .iter()
        .filter(|channel| luminance.from.get(&channel.id).is_some_and(|w| *w > 0.0))
        .filter_map(|channel| Some(lines::line(&channel.line)?.symbol.as_str()))
        .collect();
    match luminance.amount {
        amount if amount <= 0.0 => String::new(),
        amount if amount < 1.0 => format!(
            "Brightness: {:.0} % from {}",
            100.0 * amount,
            symbols.join(", ")
        ),
        _ => format!("Brightness from {}", symbols.join(", ")),
    }
}

impl Facts {
    /// "[O III] blue, Hα orange": in the order of the wavelengths.
    pub fn brief(&self) -> String {
        let all: Vec<String> = self
            .lines
            .iter()
            .map(|line| format!("{} {}", line.symbol, line.word))
            .collect();
        all.join(", ")
    }

    /// For someone who does not see the drawing.
    pub fn in_words(&self) -> String {
        let all: Vec<String> = self.lines.iter().map(Line::in_words).collect();
        let mut words = format!("{}. In it {}.", self.manner, all.join("; "));
        if !self.brightness.is_empty() {
            words.push_str(&format!(" {}.", self.brightness));
        }
        words
    }
}

impl Line {
    /// "hydrogen-alpha (Hα, 656.3 nm) is shown orange".
    pub fn in_words(&self) -> String {
        let own = if self.natural { ", its own hue" } else { "" };
        let Self {
            name, symbol, word, ..
        } = self;
        match self.kind {
            Kind::Line => format!(
                "{name} ({symbol}, {:.1} nm) is shown {word}{own}",
                self.center_nm
            ),
            Kind::Broad => format!("{name} ({symbol}) is shown {word}{own}"),
        }
    }
}
