//! Which drawings there are, and which files they can be.

use std::path::Path;

use super::DrawingDraft;
use crate::work::targets;

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

    pub(super) fn suffix(self) -> &'static str {
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

pub(super) const PNG: Kind = kind(&["png"], "PNG", "Pixels, without loss: for the web.");
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

impl DrawingDraft {
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
        let ending = ending(&self.path);
        let known = ALL
            .iter()
            .any(|kind| kind.endings.contains(&ending.as_str()));
        self.path = targets::retyped(&self.path, known, kind.endings[0]);
    }
}

fn ending(path: &str) -> String {
    Path::new(path.trim())
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase())
        .unwrap_or_default()
}
