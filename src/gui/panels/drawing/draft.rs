//! What is to be drawn, as far as it is decided.

use std::path::{Path, PathBuf};

use super::What;
use super::kinds::PNG;
use super::request::subject;
use crate::engine::leading::By;
use crate::engine::recipe::Ratio;
use crate::gui::state::{LineMap, Running, State};
use crate::work::compare::Split;
use crate::work::desk::Ticket;
use crate::work::key::Place;
use crate::work::page;
use crate::work::targets::{self, Finding};

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
        targets::placed(&state.folder, &self.path)
    }

    /// What is to be known or settled first.
    pub fn findings(&mut self, state: &State) -> Vec<Finding> {
        let mut found = self.unsettled(state);
        if self.path.trim().is_empty() {
            found.push(Finding::stop(
                "The file has no name.",
                "Write one, such as key.png.",
            ));
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
