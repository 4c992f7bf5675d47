//! What is to be exported, as far as it is decided.

use std::path::{Path, PathBuf};

use crate::engine::color::space::Space;
use crate::engine::frame::{Depth, Size};
use crate::engine::recipe::{Crop, Recipe};
use crate::gui::state::{Running, State};
use crate::io::write::{Format, Options, format_of};
use crate::work::compose::{DEFAULT_MEMORY, Request, usual_depth};
use crate::work::desk::Ticket;
use crate::work::targets::{self, Finding};

/// An export in the making, and what became of it.
#[derive(Debug, Clone)]
pub struct ExportDraft {
    /// Ids of the renditions, in the recipe's order.
    pub renditions: Vec<String>,
    /// The file as typed; relative to the recipe's folder. With several
    /// renditions their ids are added to its name.
    pub path: String,
    /// How samples are kept.
    pub depth: Depth,
    /// The output space.
    pub space: Space,
    /// Pixels of the longer side; None: full size.
    pub long_edge: Option<usize>,
    /// How to pack.
    pub options: Options,
    /// Bytes that the files will take in all, at least and at most; the app
    /// fills it in.
    pub estimate: Option<(u64, u64)>,
    /// The jobs that make it, once it was asked for; the app fills it in.
    pub tickets: Vec<Ticket>,
    /// The composites that are written; the app fills it in.
    pub done: Vec<PathBuf>,
    /// Why it failed: what is wrong, what to do; the app fills it in.
    pub failed: Option<(String, String)>,
    looked_at: Option<(Vec<PathBuf>, Vec<Finding>)>,
}

impl ExportDraft {
    /// What suits the desk: the shown rendition as a TIFF beside the recipe.
    pub fn new(state: &State) -> Self {
        let rendition = state
            .rendition()
            .map(|rendition| rendition.id.clone())
            .unwrap_or_default();
        let object = state.object();
        let name = targets::name(state.recipe(), &object, &rendition, Format::Tiff);
        Self {
            renditions: vec![rendition],
            // Relative to the recipe's folder.
            path: name,
            depth: usual_depth(Format::Tiff),
            space: state.space,
            long_edge: None,
            options: Options::default(),
            estimate: None,
            tickets: Vec::new(),
            done: Vec::new(),
            failed: None,
            looked_at: None,
        }
    }

    /// The kind of file, told by the name's ending; None where it tells none.
    pub fn format(&self) -> Option<Format> {
        format_of(Path::new(self.path.trim())).ok()
    }

    /// Gives the name the ending of another kind of file, and a depth that it
    /// can keep.
    pub fn set_format(&mut self, format: Format) {
        let known = format_of(Path::new(self.path.trim())).is_ok();
        self.path = targets::retyped(&self.path, known, targets::ending(format));
        self.fit_depth(format);
    }

    pub(super) fn fit_depth(&mut self, format: Format) {
        if !format.depths().contains(&self.depth) {
            self.depth = usual_depth(format);
        }
    }

    /// Where the name ends with the id of a rendition, it is to be that of the
    /// only one that is exported.
    pub(super) fn rename(&mut self, recipe: &Recipe) {
        let [only] = self.renditions.as_slice() else {
            return;
        };
        let path = PathBuf::from(self.path.trim());
        let (Some(stem), Some(ending)) = (path.file_stem(), path.extension()) else {
            return;
        };
        let (stem, ending) = (stem.to_string_lossy(), ending.to_string_lossy());
        let before = recipe
            .renditions
            .iter()
            .filter_map(|rendition| stem.strip_suffix(&format!("-{}", rendition.id)))
            .min_by_key(|before| before.len());
        if let Some(before) = before {
            let name = format!("{before}-{only}.{ending}");
            self.path = path.with_file_name(name).to_string_lossy().into_owned();
        }
    }

    /// The files that will be written.
    pub fn targets(&self, state: &State) -> Vec<PathBuf> {
        let path = targets::placed(&state.folder, &self.path);
        targets::paths(&path, &self.renditions)
    }

    /// The size before anything is made smaller; None while no channel is in memory.
    pub fn full_size(&self, state: &State) -> Option<Size> {
        match state.recipe().crop {
            Some(Crop::Part([_, _, width, height])) => Some(Size { width, height }),
            _ => state.size(),
        }
    }

    /// The size of the picture; None while no channel is in memory.
    pub fn size(&self, state: &State) -> Option<Size> {
        Some(targets::fitted(self.full_size(state)?, self.long_edge))
    }

    /// What is to be known or settled first. The disk is looked at again only
    /// when the names change, or after [`Self::look_again`].
    pub fn findings(&mut self, state: &State) -> &[Finding] {
        let targets = self.targets(state);
        if self.looked_at.as_ref().map(|(paths, _)| paths) != Some(&targets) {
            let mut found = targets::findings(state.recipe(), &state.folder, &targets);
            if self.path.trim().is_empty() {
                let hint = "Write one, such as lantern.tif.";
                found = vec![Finding::stop("The file has no name.", hint)];
            }
            if self.renditions.is_empty() {
                let finding = Finding::stop("No rendition is chosen.", "Choose one at least.");
                found.insert(0, finding);
            }
            self.looked_at = Some((targets, found));
        }
        self.looked_at
            .as_ref()
            .map_or(&[], |(_, found)| found.as_slice())
    }

    /// The disk may have changed: it is looked at once more.
    pub fn look_again(&mut self) {
        self.looked_at = None;
    }

    /// Its jobs that run.
    pub fn running<'a>(&'a self, state: &'a State) -> impl Iterator<Item = &'a Running> {
        state
            .jobs
            .iter()
            .filter(|job| self.tickets.contains(&job.ticket))
    }
}

/// What the draft asks of the worker: one request for each rendition, in order.
pub fn requests(draft: &ExportDraft, state: &State) -> Vec<Request> {
    draft
        .renditions
        .iter()
        .zip(draft.targets(state))
        .map(|(rendition, out)| drafted(draft, state, Some(rendition.clone()), out))
        .collect()
}

/// The request for the first rendition of the draft, or for the recipe's first
/// where none is chosen.
pub fn request(draft: &ExportDraft, state: &State) -> Request {
    let first = requests(draft, state).into_iter().next();
    first.unwrap_or_else(|| drafted(draft, state, None, state.folder.join(draft.path.trim())))
}

fn drafted(draft: &ExportDraft, state: &State, rendition: Option<String>, out: PathBuf) -> Request {
    Request {
        recipe: state.recipe().clone(),
        folder: state.folder.clone(),
        rendition,
        out,
        space: draft.space,
        depth: Some(draft.depth),
        long_edge: draft.long_edge,
        options: draft.options,
        memory: DEFAULT_MEMORY,
        askable: None,
    }
}
