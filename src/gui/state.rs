//! What the window knows: the recipe and its history, the channels in memory,
//! the jobs that run, and what is shown.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use crate::engine::color::space::Space;
use crate::engine::color::vision::Vision;
use crate::engine::frame::Size;
use crate::engine::leading::By;
use crate::engine::palettes::Palette;
use crate::engine::recipe::{Channel, Ratio, Recipe, Rendition};
use crate::work::desk::{Layer, RowState, Step, Ticket};
use crate::work::history::History;

use super::panels::canvas::geometry::Pane;
use super::panels::canvas::pictures::Pictures;
use super::theme::Theme;

/// Everything that panels may read.
pub struct State {
    /// The recipe, and how it came to be so.
    pub history: History<Recipe>,
    /// The recipe's own file; None: never saved.
    pub path: Option<PathBuf>,
    /// What its files are relative to.
    pub folder: PathBuf,
    /// The recipe as a file holds it: as it was last saved, or as the record that
    /// was opened has it.
    pub saved: Option<Recipe>,
    /// Channels in memory, by id.
    pub layers: BTreeMap<String, Arc<Layer>>,
    /// Channels that could not be had: what is wrong, what to do.
    pub failures: BTreeMap<String, (String, String)>,
    /// Files that were opened this time and are not done with.
    pub rows: Vec<FileRow>,
    /// Jobs that run.
    pub jobs: Vec<Running>,
    /// What the last preparing did.
    pub prepared: Vec<Step>,
    /// Sentences a person should know, the newest last.
    pub notices: Vec<String>,
    /// The channel that is worked on.
    pub selected: Option<String>,
    /// Only this channel is shown.
    pub solo: Option<String>,
    /// Left out for now.
    pub hidden: BTreeSet<String>,
    /// How the picture is looked at.
    pub view: View,
    /// What the canvas has drawn, and what it waits for.
    pub pictures: Pictures,
    /// The user's own palettes.
    pub own_palettes: Vec<Palette>,
    /// Small pictures of this field, by the palette's name.
    pub thumbnails: BTreeMap<String, egui::TextureHandle>,
    /// Why one's own palette could not be saved or removed: what is wrong, what
    /// to do.
    pub palette_problem: Option<(String, String)>,
    /// Files that were open lately, the newest first.
    pub recent: Vec<PathBuf>,
    /// The output space in work and for export.
    pub space: Space,
    /// Light, dark or red.
    pub theme: Theme,
    /// What the status line says.
    pub said: String,
    /// The file that it tells of, if it was made just now.
    pub made: Option<PathBuf>,
    /// Milliseconds that the last picture took.
    pub last_millis: f32,
    /// Where the picture is shown on the screen, once it has been.
    pub pane: Option<Pane>,
    /// What is to be pointed at in the picture.
    pub picking: Option<Picking>,
    /// Why what was pointed at was of no use: what is wrong, what to do.
    pub picking_problem: Option<(String, String)>,
    /// Why no colours could be suggested: what is wrong, what to do.
    pub suggestion_problem: Option<(String, String)>,
    /// Stars are being told from the nebula; the picture waits for it.
    pub parts_pending: bool,
    /// The user stopped that: the picture shows stars or noise that an export
    /// takes off.
    pub parts_stopped: bool,
    /// The pixel under the pointer.
    pub hovered: Option<[usize; 2]>,
    /// Which of the first hints is shown.
    pub hint: Option<usize>,
}

/// What the next click or drag on the picture takes up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Picking {
    /// A star that is to be white.
    Star,
    /// A part that is to be grey.
    Patch,
}

/// A file that is being opened.
#[derive(Debug, Clone)]
pub struct FileRow {
    /// The file.
    pub path: PathBuf,
    /// The job that opens it.
    pub ticket: Ticket,
    /// How it stands.
    pub state: RowState,
    /// How far it is, 0 to 1.
    pub share: f32,
}

/// A job that runs.
#[derive(Debug, Clone)]
pub struct Running {
    /// Its number.
    pub ticket: Ticket,
    /// What it is: "Preparing", "Exporting lantern.tif".
    pub title: String,
    /// What it does now.
    pub step: String,
    /// Which channel it is about, if one alone.
    pub channel: Option<String>,
    /// How far it is, 0 to 1.
    pub share: f32,
}

/// How two renditions are held against each other.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Compare {
    /// One alone.
    #[default]
    One,
    /// One left of an edge, the other right of it.
    Divided,
    /// Both whole, side by side.
    Beside,
    /// In turns.
    Turns,
    /// How far they lie apart.
    Difference,
}

/// What the lines say, shown instead of the picture.
#[derive(Debug, Clone, PartialEq)]
pub enum LineMap {
    /// Which line of the shown rendition leads.
    Leading(By),
    /// How strong one line is beside another; it need not be in the recipe.
    Ratio(Ratio),
}

/// How the picture is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct View {
    /// Id of the rendition that is shown and edited.
    pub rendition: String,
    /// Id of the one that it is held against.
    pub other: Option<String>,
    /// How.
    pub compare: Compare,
    /// Where the edge stands, 0 (left) to 1 (right).
    pub divide: f32,
    /// The pixel of the common grid in the middle of the view (corner of the
    /// first pixel at 0), and screen pixels for one of its pixels; None: the
    /// whole picture fits the view.
    pub place: Option<Place>,
    /// Pixels that clip or leave the gamut are marked.
    pub marks: bool,
    /// The picture is shown with all its noise: what is smoothed away comes back.
    pub before_noise: bool,
    /// As whom the picture is seen.
    pub vision: Vision,
    /// The channel whose sky model is shown instead of the picture.
    pub sky: Option<String>,
    /// A map of lines that is shown instead of the picture.
    pub map: Option<LineMap>,
    /// The difference (CIEDE2000) that is shown white.
    pub difference_full: f32,
    /// A pixel that the probe is held on; None: it follows the pointer.
    pub probe: Option<[usize; 2]>,
}

/// A place in the picture, and how large it is shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// What lies in the middle of the view, in pixels of the common grid.
    pub middle: [f64; 2],
    /// Physical screen pixels for one of them.
    pub zoom: f64,
}

impl State {
    /// The recipe now, a gesture that goes on included.
    pub fn recipe(&self) -> &Recipe {
        self.history.current()
    }

    /// The rendition that is shown and edited; None on an empty desk.
    pub fn rendition(&self) -> Option<&Rendition> {
        self.recipe()
            .rendition(&self.view.rendition)
            .or(self.recipe().renditions.first())
    }

    /// A copy of the recipe with one change to the shown rendition.
    pub fn with_rendition(&self, change: impl FnOnce(&mut Rendition)) -> Recipe {
        let mut recipe = self.recipe().clone();
        let id = self.rendition().map(|rendition| rendition.id.clone());
        if let Some(rendition) = recipe
            .renditions
            .iter_mut()
            .find(|rendition| Some(&rendition.id) == id.as_ref())
        {
            change(rendition);
        }
        recipe
    }

    /// A copy of the recipe with one change to a channel.
    pub fn with_channel(&self, id: &str, change: impl FnOnce(&mut Channel)) -> Recipe {
        let mut recipe = self.recipe().clone();
        if let Some(channel) = recipe.channels.iter_mut().find(|channel| channel.id == id) {
            change(channel);
        }
        recipe
    }

    /// Whether the recipe differs from its file.
    pub fn is_edited(&self) -> bool {
        !self.recipe().channels.is_empty() && self.saved.as_ref() != Some(self.recipe())
    }

    /// The size of the common grid, once a channel on it is in memory.
    pub fn size(&self) -> Option<Size> {
        let reference = self.recipe().reference()?;
        self.layers
            .get(&reference.id)
            .or_else(|| self.layers.values().next())
            .map(|layer| layer.size())
    }

    /// What the reference's header calls the object; may be empty.
    pub fn object(&self) -> String {
        let reference = self.recipe().reference();
        reference
            .and_then(|reference| self.layers.get(&reference.id))
            .and_then(|layer| layer.header.text("OBJECT"))
            .unwrap_or_default()
    }

    /// Figures for the status line: size, scale, how long the picture took.
    pub fn figures(&self) -> String {
        let Some(size) = self.size() else {
            return String::new();
        };
        let mut words = format!("{size}, {:.1} Mpx", size.pixels() as f64 / 1e6);
        if self.last_millis > 0.0 {
            words.push_str(&format!("   drawn in {:.0} ms", self.last_millis.max(1.0)));
        }
        words
    }

    /// Where the view stands, also while the whole picture is fitted.
    pub fn place_now(&self) -> Option<Place> {
        Some(self.pane?.place(self.view.place, self.size()?))
    }

    /// Takes everything off the desk; looks and habits stay.
    pub fn clear_desk(&mut self) {
        let empty = Self::empty();
        let kept = std::mem::replace(self, empty);
        self.rows = kept.rows;
        self.jobs = kept.jobs;
        self.own_palettes = kept.own_palettes;
        self.recent = kept.recent;
        self.space = kept.space;
        self.theme = kept.theme;
        self.hint = kept.hint;
        self.view.vision = kept.view.vision;
    }

    /// An empty desk.
    pub fn empty() -> Self {
        let recipe = Recipe {
            recipe: crate::engine::recipe::VERSION,
            reference: None,
            crop: None,
            about: crate::engine::recipe::About::default(),
            channels: Vec::new(),
            renditions: Vec::new(),
            ratios: Vec::new(),
        };
        Self {
            history: History::new("Empty desk", recipe),
            path: None,
            folder: PathBuf::from("."),
            saved: None,
            layers: BTreeMap::new(),
            failures: BTreeMap::new(),
            rows: Vec::new(),
            jobs: Vec::new(),
            prepared: Vec::new(),
            notices: Vec::new(),
            selected: None,
            solo: None,
            hidden: BTreeSet::new(),
            view: View {
                rendition: String::new(),
                other: None,
                compare: Compare::One,
                divide: 0.5,
                place: None,
                marks: false,
                before_noise: false,
                vision: Vision::Usual,
                sky: None,
                map: None,
                difference_full: 50.0,
                probe: None,
            },
            pictures: Pictures::default(),
            own_palettes: Vec::new(),
            thumbnails: BTreeMap::new(),
            palette_problem: None,
            recent: Vec::new(),
            space: Space::Srgb,
            theme: Theme::Dark,
            said: String::new(),
            made: None,
            last_millis: 0.0,
            pane: None,
            picking: None,
            picking_problem: None,
            suggestion_problem: None,
            parts_pending: false,
            parts_stopped: false,
            hovered: None,
            hint: None,
        }
    }
}
