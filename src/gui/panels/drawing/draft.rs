//! What is to be drawn, as far as it is decided.

use std::path::{Path, PathBuf};

use crate::engine::leading::By;
use crate::engine::recipe::Ratio;
use crate::gui::state::{LineMap, Running, State};
use crate::io::write::{Format, Options};
use crate::work::compare::{self, Split};
use crate::work::desk::{Drawing, Ticket};
use crate::work::key::{self, Beneath, Onto, Place, Subject};
use crate::work::leading;
use crate::work::page;
use crate::work::ratio;
use crate::work::sheet;
use crate::work::targets::{self, Finding};

/// Which drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// The colour key.
    Key,
    /// A contact sheet of palettes.
    Sheet,
    /// Renditions held against each other.
    Comparison,
    /// A page to hand on.
    Page,
    /// Which line leads where.
    Leading,
    /// How strong one line is beside another.
    Ratio,
}

impl What {
    /// Over the dialog.
    pub fn title(self) -> &'static str {
        match self {
            Self::Key => "Colour key",
            Self::Sheet => "Sheet of palettes",
            Self::Comparison => "Comparison",
            Self::Page => "Page to share",
            Self::Leading => "Which line leads",
            Self::Ratio => "Ratio of lines",
        }
    }

    fn suffix(self) -> &'static str {
        match self {
            Self::Key => "key",
            Self::Sheet => "palettes",
            Self::Comparison => "compared",
            Self::Page => "page",
            Self::Leading => "leading",
            Self::Ratio => "ratio",
        }
    }
}

/// A kind of file: its endings, the usual one first, its name, what it is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// Without the dot.
    pub endings: &'static [&'static str],
    /// As it is called.
    pub name: &'static str,
    /// In a sentence.
    pub about: &'static str,
}

const fn kind(endings: &'static [&'static str], name: &'static str, about: &'static str) -> Kind {
    Kind {
        endings,
        name,
        about,
    }
}

const PNG: Kind = kind(&["png"], "PNG", "Pixels, without loss: for the web.");
const JPEG: Kind = kind(
    &["jpg", "jpeg"],
    "JPEG",
    "Pixels, small, with small losses.",
);
const TIFF: Kind = kind(&["tif", "tiff"], "TIFF", "Pixels, for further work.");
const PDF: Kind = kind(&["pdf"], "PDF", "For print: words stay sharp at any size.");
const SVG: Kind = kind(
    &["svg"],
    "SVG",
    "Shapes and words, sharp at any size: for the web.",
);
const FITS: Kind = kind(
    &["fits", "fit"],
    "FITS",
    "The ratios as numbers, with their uncertainties and places on the sky.",
);
const ALL: [Kind; 6] = [PNG, JPEG, TIFF, PDF, SVG, FITS];

/// A drawing in the making, and what became of it.
#[derive(Debug, Clone)]
pub struct DrawingDraft {
    /// Which drawing.
    pub what: What,
    /// The file as typed; relative to the recipe's folder.
    pub path: String,
    /// Pixels from side to side.
    pub width: usize,
    /// Dark words on white.
    pub light: bool,
    /// Key: whose. Comparison and page: which, in this order.
    pub renditions: Vec<String>,
    /// Key: where on the picture; None: by itself.
    pub place: Option<Place>,
    /// Key on the picture, and page: pixels of the picture's longer side.
    pub long_edge: usize,
    /// Sheet: palettes by name; None: all that fit.
    pub palettes: Option<Vec<String>>,
    /// Sheet: pictures in a row; None: as suits.
    pub columns: Option<usize>,
    /// Comparison: how one picture is divided; None: side by side.
    pub split: Option<Split>,
    /// Comparison: a key under each.
    pub keys: bool,
    /// Page: pictures without loss.
    pub png: bool,
    /// Leading line: what lines are compared by.
    pub by: By,
    /// Which ratio, and how it is taken.
    pub ratio: Option<Ratio>,
    /// The job that makes it, once it was asked for; the app fills it in.
    pub ticket: Option<Ticket>,
    /// The file that is written; the app fills it in.
    pub done: Vec<PathBuf>,
    /// What a person should know of it; the app fills it in.
    pub notices: Vec<String>,
    /// Why it failed: what is wrong, what to do; the app fills it in.
    pub failed: Option<(String, String)>,
    looked_at: Option<(PathBuf, Vec<Finding>)>,
}

impl DrawingDraft {
    /// What suits the desk: the shown rendition, or the two that are compared,
    /// as a PNG beside the recipe.
    pub fn new(what: What, state: &State) -> Self {
        let recipe = state.recipe();
        let shown = state.rendition().map(|rendition| rendition.id.clone());
        let mut renditions: Vec<String> = shown.into_iter().collect();
        if matches!(what, What::Comparison | What::Page) {
            let others = recipe.renditions.iter().map(|rendition| &rendition.id);
            let other = state
                .view
                .other
                .as_ref()
                .filter(|id| recipe.rendition(id).is_some());
            let next = other.or_else(|| others.into_iter().find(|id| !renditions.contains(id)));
            renditions.extend(next.filter(|id| !renditions.contains(id)).cloned());
        }
        let object = state.object();
        let (by, ratio) = match &state.view.map {
            Some(LineMap::Leading(by)) => (*by, None),
            Some(LineMap::Ratio(ratio)) => (By::Shown, Some(ratio.clone())),
            None => (By::Shown, None),
        };
        let suffix = match &ratio {
            Some(ratio) if what == What::Ratio => format!("{}-{}", ratio.over, ratio.under),
            _ => what.suffix().to_owned(),
        };
        Self {
            what,
            path: format!(
                "{}-{}{}",
                targets::stem(recipe, &object),
                suffix,
                if what == What::Page { "" } else { ".png" }
            ),
            width: if what == What::Key { 1600 } else { 2400 },
            light: false,
            renditions,
            place: None,
            long_edge: page::LONG_EDGE,
            palettes: None,
            columns: None,
            split: None,
            keys: true,
            png: false,
            by,
            ratio,
            ticket: None,
            done: Vec::new(),
            notices: Vec::new(),
            failed: None,
            looked_at: None,
        }
    }

    /// Kinds of files that it can be.
    pub fn kinds(&self) -> &'static [Kind] {
        match (self.what, self.place) {
            (What::Key, None) => &[PNG, SVG, PDF],
            (What::Key, Some(_)) => &[PNG, JPEG, TIFF],
            (What::Sheet | What::Comparison, _) => &[PNG, JPEG, PDF],
            (What::Page, _) => &[],
            (What::Leading, _) => &[PNG, TIFF],
            (What::Ratio, _) => &[PNG, JPEG, FITS],
        }
    }

    /// The kind of file, told by the name's ending; None where it tells none.
    pub fn kind(&self) -> Option<Kind> {
        let kinds = self.kinds().iter();
        let ending = ending(&self.path);
        kinds
            .copied()
            .find(|kind| kind.endings.contains(&ending.as_str()))
    }

    /// Gives the name the ending of another kind of file.
    pub fn set_kind(&mut self, kind: Kind) {
        let path = Path::new(self.path.trim());
        let known = ALL
            .iter()
            .any(|kind| kind.endings.contains(&ending(&self.path).as_str()));
        let new = kind.endings[0];
        // What looks like an ending may be part of the name: "m 1.5".
        let path = if known || path.extension().is_none() {
            path.with_extension(new)
        } else {
            PathBuf::from(format!("{}.{new}", path.display()))
        };
        self.path = path.to_string_lossy().into_owned();
    }

    /// Page: whether it becomes one file.
    pub fn one_file(&self) -> bool {
        page::is_one_file(Path::new(self.path.trim()))
    }

    /// Page: makes it one file, or a folder; the name follows.
    pub fn set_one_file(&mut self, one_file: bool) {
        if one_file == self.one_file() {
            return;
        }
        let path = self.path.trim();
        self.path = match one_file {
            true => format!("{}.html", path.trim_end_matches(['/', '\\'])),
            false => Path::new(path)
                .with_extension("")
                .to_string_lossy()
                .into_owned(),
        };
    }

    /// Puts the key somewhere else; the kind of file follows where it must.
    pub fn set_place(&mut self, place: Option<Place>) {
        let could = self.kind().is_some();
        self.place = place;
        if could && self.kind().is_none() {
            self.set_kind(PNG);
        }
    }

    /// The file that will be written.
    pub fn target(&self, state: &State) -> PathBuf {
        let path = state.folder.join(self.path.trim());
        path.strip_prefix("./").map_or(path.clone(), Path::to_owned)
    }

    /// What is to be known or settled first.
    pub fn findings(&mut self, state: &State) -> Vec<Finding> {
        let mut found = self.unsettled(state);
        if self.path.trim().is_empty() {
            found.push(stop("The file has no name.", "Write one, such as key.png."));
            return found;
        }
        let target = self.target(state);
        if self.looked_at.as_ref().map(|(path, _)| path) != Some(&target) {
            let subject = subject(state);
            let endings: Vec<&str> = self
                .kinds()
                .iter()
                .flat_map(|k| k.endings)
                .copied()
                .collect();
            let on_disk = match self.what {
                What::Page => targets::page(&subject.inputs, &target),
                _ => targets::drawing(&subject.inputs, &target, &endings),
            };
            self.looked_at = Some((target, on_disk));
        }
        if let Some((_, on_disk)) = &self.looked_at {
            found.extend(on_disk.iter().cloned());
        }
        found
    }

    fn unsettled(&self, state: &State) -> Vec<Finding> {
        let ids = &self.renditions;
        let there = ids
            .iter()
            .filter(|id| state.recipe().rendition(id).is_some())
            .count();
        let finding = match self.what {
            What::Key | What::Leading if there == 0 => {
                stop("No rendition is chosen.", "Choose one.")
            }
            What::Sheet if self.palettes.as_ref().is_some_and(Vec::is_empty) => {
                stop("No palette is chosen.", "Choose one at least.")
            }
            What::Page if there == 0 => stop("No rendition is chosen.", "Choose one or two."),
            What::Page if there > 2 => stop(
                &format!("A page shows two renditions at most, not {there}."),
                "Choose one or two.",
            ),
            What::Comparison if there < 2 => stop(
                "One rendition alone cannot be compared.",
                "Choose two at least; Ctrl+D adds a copy of the shown one.",
            ),
            What::Comparison if there > compare::MOST => stop(
                &format!("{there} renditions are too many to compare."),
                &format!("Choose {} at most.", compare::MOST),
            ),
            What::Comparison if there > 2 && self.split == Some(Split::Diagonal) => stop(
                "A diagonal divides a picture in two parts.",
                "Choose two renditions, or divide it upright.",
            ),
            What::Ratio => {
                let checked = self.ratio.as_ref().map(|ratio| ratio.check(state.recipe()));
                match checked {
                    Some(Ok(())) => return Vec::new(),
                    Some(Err((what, hint))) => stop(&format!("{what}."), &format!("{hint}.")),
                    None => stop("No ratio is chosen.", "Look at one first: press O."),
                }
            }
            _ => return Vec::new(),
        };
        vec![finding]
    }

    /// The disk may have changed: it is looked at once more.
    pub fn look_again(&mut self) {
        self.looked_at = None;
    }

    /// Its job, while it runs.
    pub fn running<'a>(&'a self, state: &'a State) -> impl Iterator<Item = &'a Running> {
        state
            .jobs
            .iter()
            .filter(|job| self.ticket == Some(job.ticket))
    }
}

fn stop(what: &str, hint: &str) -> Finding {
    Finding {
        what: what.to_owned(),
        hint: hint.to_owned(),
        stops: true,
    }
}

fn ending(path: &str) -> String {
    Path::new(path.trim())
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default()
}

fn subject(state: &State) -> Subject {
    Subject::of(
        state.recipe().clone(),
        state.folder.clone(),
        state.path.clone(),
    )
}

/// What the draft asks of the worker.
pub fn request(draft: &DrawingDraft, state: &State) -> Drawing {
    let subject = subject(state);
    let out = draft.target(state);
    match draft.what {
        What::Key => Drawing::Key(key::Request {
            subject,
            rendition: draft.renditions.first().cloned(),
            out,
            width: draft.width,
            light: draft.light,
            onto: draft.place.map(|place| Onto {
                beneath: Beneath::Rendition {
                    long_edge: draft.long_edge,
                },
                place,
            }),
        }),
        What::Sheet => Drawing::Sheet(sheet::Request {
            subject,
            out,
            palettes: draft.palettes.clone().unwrap_or_default(),
            columns: draft.columns,
            width: draft.width,
            light: draft.light,
        }),
        What::Page => Drawing::Page(page::Request {
            source: page::Source::Recipe(Box::new(subject)),
            renditions: draft.renditions.clone(),
            out,
            long_edge: draft.long_edge,
            format: if draft.png { Format::Png } else { Format::Jpeg },
            options: Options::default(),
            with_composite: false,
            template: None,
        }),
        What::Leading => Drawing::Leading(leading::Request {
            recipe: state.recipe().clone(),
            folder: state.folder.clone(),
            rendition: draft.renditions.first().cloned(),
            out,
            by: draft.by,
        }),
        What::Ratio => Drawing::Ratio(ratio::Request {
            recipe: state.recipe().clone(),
            folder: state.folder.clone(),
            file: state.path.clone(),
            // Its findings stop a draft without a ratio.
            ratio: draft.ratio.clone().unwrap_or_else(|| Ratio::of("", "", "")),
            out,
        }),
        What::Comparison => Drawing::Comparison(compare::Request {
            subject,
            renditions: draft.renditions.clone(),
            out,
            split: draft.split,
            key: draft.keys,
            width: draft.width,
            light: draft.light,
        }),
    }
}
