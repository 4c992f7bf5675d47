//! What the desk is asked to do, and what it tells.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Layer, LayerKey, Layers, Parts};
use crate::engine::apart::suggest::Wish;
use crate::engine::recipe::{Balance, Ratio, Recipe, Stretch};
use crate::work::balance::BalanceBy;
use crate::work::preview;
use crate::work::suggest::Colors;
use crate::work::{compare, compose, key, leading, page, ratio, sheet};

/// Names a job that was asked for; what it tells carries the same.
pub type Ticket = u64;

/// Something that takes a while.
#[derive(Debug, Clone)]
pub enum Job {
    /// Opens files, folders, a recipe or a record. Stacks are recognised and
    /// join `recipe` if there is one; then all channels that are new are read
    /// into memory and stretched.
    Open {
        /// What was dropped, picked or typed.
        paths: Vec<PathBuf>,
        /// What lies on the desk already, and the folder its files are relative to.
        onto: Option<(Recipe, PathBuf)>,
        /// Lines that the user has named: file and line id.
        lines: Vec<(PathBuf, String)>,
    },
    /// Reads channels into memory that are not there yet (after an undo, say).
    Load {
        /// A checked recipe.
        recipe: Recipe,
        /// What its files are relative to.
        folder: PathBuf,
        /// Ids of the channels.
        channels: Vec<String>,
    },
    /// Aligns, crops, levels and stretches all channels in one go.
    Prepare {
        /// A checked recipe.
        recipe: Recipe,
        /// What its files are relative to.
        folder: PathBuf,
    },
    /// Measures the white balance of a rendition.
    Balance {
        /// A checked recipe.
        recipe: Recipe,
        /// The channels in memory, by id.
        layers: Layers,
        /// Id of the rendition that it is for.
        rendition: String,
        /// By what.
        by: BalanceBy,
    },
    /// Works out colours that keep the lines of a rendition apart.
    Suggest {
        /// A checked recipe.
        recipe: Recipe,
        /// The channels in memory, by id.
        layers: Layers,
        /// Id of the rendition that they are for.
        rendition: String,
        /// What they must keep to.
        wish: Wish,
    },
    /// Smooths noise and tells stars from the nebula where renditions need it.
    Parts {
        /// A checked recipe.
        recipe: Recipe,
        /// What its files are relative to.
        folder: PathBuf,
        /// The channels in memory.
        layers: Layers,
    },
    /// Makes a composite and its record.
    Export(Box<compose::Request>),
    /// Makes a drawing about the picture.
    Draw(Box<Drawing>),
}

/// A drawing about the picture.
#[derive(Debug, Clone)]
pub enum Drawing {
    /// The colour key.
    Key(key::Request),
    /// A contact sheet of palettes.
    Sheet(sheet::Request),
    /// Renditions beside each other, or as parts of one picture.
    Comparison(compare::Request),
    /// A page to hand on.
    Page(page::Request),
    /// Which line leads where.
    Leading(leading::Request),
    /// How strong one line is beside another.
    Ratio(ratio::Request),
}

impl Drawing {
    /// Where it goes.
    pub fn out(&self) -> &Path {
        match self {
            Self::Key(request) => &request.out,
            Self::Sheet(request) => &request.out,
            Self::Comparison(request) => &request.out,
            Self::Page(request) => &request.out,
            Self::Leading(request) => &request.out,
            Self::Ratio(request) => &request.out,
        }
    }
}

/// How it stands with a file that is being opened.
#[derive(Debug, Clone, PartialEq)]
pub enum RowState {
    /// It is being looked at or waits for its turn.
    Waiting,
    /// Its line is not clear.
    NeedsLine {
        /// Why, in a sentence.
        why: String,
        /// Ids of lines, the likeliest first.
        guesses: Vec<String>,
    },
    /// It became this channel.
    Taken {
        /// Its id.
        channel: String,
    },
    /// It could not be read.
    Failed {
        /// What is wrong.
        what: String,
        /// What to do.
        hint: String,
    },
    /// The user stopped it.
    Cancelled,
}

/// A step of preparing, done.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The channel's id.
    pub channel: String,
    /// `align`, `crop`, `level` or `stretch`.
    pub step: &'static str,
    /// What came of it, with figures: "84 stars, 0.11 px".
    pub outcome: String,
}

/// What a job tells.
#[derive(Debug, Clone)]
pub enum Event {
    /// How far it is.
    Progress {
        /// Which job.
        ticket: Ticket,
        /// Which channel or file it is about, if one alone.
        channel: Option<String>,
        /// What is being done.
        step: String,
        /// From 0 to 1.
        share: f32,
    },
    /// How it stands with a file.
    Row {
        /// Which job.
        ticket: Ticket,
        /// The file.
        path: PathBuf,
        /// How it stands.
        state: RowState,
    },
    /// The stacks are recognised: this recipe holds them all.
    Opened {
        /// Which job.
        ticket: Ticket,
        /// The recipe.
        recipe: Box<Recipe>,
        /// What its files are relative to.
        folder: PathBuf,
        /// The recipe's own file, where one was opened.
        path: Option<PathBuf>,
        /// A file holds just this recipe: its own, or a record.
        is_kept: bool,
        /// The map whose record was opened.
        ratio: Option<Box<Ratio>>,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// A stretch was measured for a channel that had none yet.
    Stretched {
        /// Which job.
        ticket: Ticket,
        /// The channel's id.
        channel: String,
        /// What suits it.
        stretch: Stretch,
    },
    /// A channel is in memory.
    Layer {
        /// Which job.
        ticket: Ticket,
        /// The channel's id.
        channel: String,
        /// It.
        layer: Arc<Layer>,
    },
    /// What renditions need of a channel beside its values.
    Parts {
        /// Which job.
        ticket: Ticket,
        /// The channel's id.
        channel: String,
        /// The key of the layer that they were made from.
        key: Box<LayerKey>,
        /// They.
        parts: Box<Parts>,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// All channels are aligned, cropped, levelled and stretched.
    Prepared {
        /// Which job.
        ticket: Ticket,
        /// The recipe that says how.
        recipe: Box<Recipe>,
        /// What was done, in order.
        steps: Vec<Step>,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// A white balance is measured.
    Balanced {
        /// Which job.
        ticket: Ticket,
        /// Id of the rendition that it is for.
        rendition: String,
        /// It.
        balance: Balance,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// Colours are suggested.
    Suggested {
        /// Which job.
        ticket: Ticket,
        /// Id of the rendition that they are for.
        rendition: String,
        /// They, by the ids of channels.
        colors: Colors,
        /// What they bring, in a sentence.
        words: String,
    },
    /// A composite is written.
    Exported {
        /// Which job.
        ticket: Ticket,
        /// The composite.
        path: PathBuf,
        /// Its record.
        record: PathBuf,
        /// Bytes of the composite.
        bytes: u64,
    },
    /// A drawing is written.
    Drawn {
        /// Which job.
        ticket: Ticket,
        /// The file.
        path: PathBuf,
        /// Bytes of it.
        bytes: u64,
        /// What a person should know.
        notices: Vec<String>,
    },
    /// A channel could not be had; the others go on.
    ChannelFailed {
        /// Which job.
        ticket: Ticket,
        /// The channel's id.
        channel: String,
        /// What is wrong.
        what: String,
        /// What to do.
        hint: String,
    },
    /// The job failed as a whole.
    Failed {
        /// Which job.
        ticket: Ticket,
        /// What is wrong.
        what: String,
        /// What to do.
        hint: String,
    },
    /// The job is over, however it ended; nothing more comes of it.
    Finished {
        /// Which job.
        ticket: Ticket,
        /// Whether it was stopped.
        cancelled: bool,
    },
    /// A picture for the screen.
    Picture {
        /// Which of the window's pictures.
        slot: u32,
        /// The number of the request.
        generation: u64,
        /// It.
        picture: preview::Picture,
    },
}
