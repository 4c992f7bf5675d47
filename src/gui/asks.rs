//! What panels ask for. A panel reads the [`State`](super::state::State) and
//! pushes asks; the app acts on them in one place, after the frame is laid out.

use std::path::PathBuf;

use super::command::Command;
use crate::engine::color::space::Space;

use super::panels::drawing::DrawingDraft;
use super::panels::export::ExportDraft;
use super::state::Picking;
use crate::engine::apart::suggest::Wish;
use crate::engine::palettes::Palette;
use crate::engine::recipe::Recipe;
use crate::work::balance::BalanceBy;

/// One wish of a panel.
#[derive(Debug, Clone)]
#[expect(
    clippy::large_enum_variant,
    reason = "a frame has a few of them at most"
)]
pub enum Ask {
    /// The recipe is to become this.
    Edit {
        /// What it is called in the history: "Hue of Hα".
        label: String,
        /// The whole recipe after it.
        recipe: Box<Recipe>,
        /// A gesture still goes on (the pointer is down): no step of its own yet.
        ongoing: bool,
    },
    /// The gesture is over: what was ongoing becomes a step.
    Settle,
    /// One of the commands, as if its key had been pressed.
    Run(Command),
    /// This channel is the one that is worked on.
    Select(Option<String>),
    /// Only this channel is shown; None: all again.
    Solo(Option<String>),
    /// A channel is left out of the picture for now, or comes back.
    Hide {
        /// Its id.
        channel: String,
        /// Whether it is left out.
        hidden: bool,
    },
    /// The sky model of this channel is shown; None: the picture again.
    ShowSky(Option<String>),
    /// A stretch that suits the channel is to be measured anew, by its id.
    AutoStretch(String),
    /// This rendition is shown, by its id.
    ShowRendition(String),
    /// This rendition is held against the one shown.
    CompareWith(String),
    /// Files, folders or recipes are to be opened.
    Open(Vec<PathBuf>),
    /// The user names the line of a stack that was not recognised.
    NameLine {
        /// The stack.
        path: PathBuf,
        /// An id of the line table.
        line: String,
    },
    /// A job is to be stopped.
    Cancel(crate::work::desk::Ticket),
    /// What is done for one file or channel is to be stopped.
    CancelPart(crate::work::desk::Ticket, String),
    /// Stars and noise are told apart after all, where that was stopped.
    GoOnWithParts,
    /// A line of the list of files is done with.
    Dismiss(PathBuf),

    /// The white balance of the shown rendition is to be measured.
    Balance(BalanceBy),
    /// Colours that keep the lines of the shown rendition apart are to be found.
    Suggest(Wish),
    /// The next click or drag on the picture takes this up; None: not after all.
    Pick(Option<Picking>),
    /// The user picks a catalogue of stars for the white balance.
    ChooseCatalogue,

    /// The picture is worked on and exported in this space.
    Space(Space),
    /// A palette is to be kept among the user's own.
    SavePalette(Box<Palette>),
    /// The user's own palette of this name is to go.
    RemovePalette(String),
    /// The user picks where the export goes; the draft's path follows.
    ChooseExportPath,
    /// The export is to be made as drafted.
    Export(Box<ExportDraft>),
    /// The export's dialog is done with.
    CloseExport,
    /// The user picks where the drawing goes; the draft's path follows.
    ChooseDrawingPath,
    /// The drawing is to be made as drafted.
    Draw(Box<DrawingDraft>),
    /// The drawing's dialog is done with.
    CloseDrawing,
    /// A file is to be shown in the system's file manager.
    ShowInFolder(PathBuf),

    /// The picture is looked at in this way: no edit of the recipe.
    View(super::state::View),
    /// A sentence for the status line.
    Say(String),
}

/// The wishes of one frame, in order.
#[derive(Debug, Default)]
pub struct Asks {
    list: Vec<Ask>,
}

impl Asks {
    /// One more.
    pub fn push(&mut self, ask: Ask) {
        self.list.push(ask);
    }

    /// The recipe changed by one whole step.
    pub fn edit(&mut self, label: impl Into<String>, recipe: Recipe) {
        self.push(Ask::Edit {
            label: label.into(),
            recipe: Box::new(recipe),
            ongoing: false,
        });
    }

    /// The recipe changed while the pointer is still down.
    pub fn drag(&mut self, label: impl Into<String>, recipe: Recipe) {
        self.push(Ask::Edit {
            label: label.into(),
            recipe: Box::new(recipe),
            ongoing: true,
        });
    }

    /// A command.
    pub fn run(&mut self, command: Command) {
        self.push(Ask::Run(command));
    }

    /// All of them, the list is empty then.
    pub fn take(&mut self) -> Vec<Ask> {
        std::mem::take(&mut self.list)
    }
}
