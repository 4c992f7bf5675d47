//! Every command of the window in one table: what it is called, what it does,
//! which key runs it. Menus, keys, tooltips, the command list and the tests
//! all read it.

use egui::{Key, KeyboardShortcut, Modifiers};

/// Something the user can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Command {
    /// Pick files to open.
    Open,
    /// Type a path to open.
    OpenPath,
    /// Open the sample field.
    OpenSample,
    /// Save the recipe.
    Save,
    /// Save it under another name.
    SaveAs,
    /// Export the picture.
    Export,
    /// Save the colour key.
    SaveKey,
    /// Save a sheet of palettes.
    SaveSheet,
    /// Save a comparison of renditions.
    SaveComparison,
    /// Save a page to hand on.
    SavePage,
    /// Save the map of the leading line, or of a ratio.
    SaveMap,
    /// Align, crop, level and stretch all channels.
    Prepare,
    /// Quit.
    Quit,
    /// One step back.
    Undo,
    /// One step forward.
    Redo,
    /// Show the steps.
    ShowHistory,
    /// Fit the picture into the view.
    ZoomFit,
    /// One screen pixel for one pixel.
    ZoomFull,
    /// Larger.
    ZoomIn,
    /// Smaller.
    ZoomOut,
    /// The shown rendition alone.
    CompareOne,
    /// Divided by an edge.
    CompareDivided,
    /// Side by side.
    CompareBeside,
    /// In turns.
    CompareTurns,
    /// The difference.
    CompareDifference,
    /// The two renditions change places.
    SwapCompared,
    /// The next rendition.
    NextRendition,
    /// A new rendition like the shown one.
    CopyRendition,
    /// A new rendition, empty of colours that were chosen by hand.
    AddRendition,
    /// Give the shown rendition another name.
    RenameRendition,
    /// Take the shown rendition away.
    DeleteRendition,
    /// Mark pixels that clip or leave the gamut.
    Marks,
    /// Which line leads where, instead of the picture, or the picture again.
    ShowLeading,
    /// A ratio of two lines instead of the picture, or the picture again.
    ShowRatio,
    /// See the picture before its noise is smoothed away, or after it again.
    BeforeNoise,
    /// See as other readers do, in turn.
    NextVision,
    /// The next looks.
    NextTheme,
    /// List all commands.
    CommandList,
    /// Stop what runs.
    CancelJobs,
    /// Show the hints again.
    Help,
}

/// What the table says of a command.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// Which.
    pub command: Command,
    /// What menus call it.
    pub name: &'static str,
    /// What it does, in a sentence.
    pub about: &'static str,
    /// Its key.
    pub key: Option<KeyboardShortcut>,
}

const fn plain(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::NONE, key))
}

const fn ctrl(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(Modifiers::COMMAND, key))
}

const fn ctrl_shift(key: Key) -> Option<KeyboardShortcut> {
    Some(KeyboardShortcut::new(
        Modifiers::COMMAND.plus(Modifiers::SHIFT),
        key,
    ))
}

const fn entry(
    command: Command,
    name: &'static str,
    about: &'static str,
    key: Option<KeyboardShortcut>,
) -> Entry {
    Entry {
        command,
        name,
        about,
        key,
    }
}

/// The table, in the order in which it is listed.
pub const COMMANDS: &[Entry] = &[
    entry(
        Command::Open,
        "Open ...",
        "Pick stacks, a folder's files or a recipe",
        ctrl(Key::O),
    ),
    entry(
        Command::OpenPath,
        "Open a path ...",
        "Type where stacks or a recipe are",
        ctrl_shift(Key::O),
    ),
    entry(
        Command::OpenSample,
        "Open the sample field",
        "The Lantern Shell, an invented nebula in seven filters",
        None,
    ),
    entry(
        Command::Prepare,
        "Prepare",
        "Align, crop, level and stretch all channels in one go",
        ctrl(Key::P),
    ),
    entry(
        Command::Save,
        "Save",
        "Write the recipe to its file",
        ctrl(Key::S),
    ),
    entry(
        Command::SaveAs,
        "Save as ...",
        "Write the recipe to another file",
        ctrl_shift(Key::S),
    ),
    entry(
        Command::Export,
        "Export ...",
        "Make a composite and its record",
        ctrl(Key::E),
    ),
    entry(
        Command::SaveKey,
        "Save the colour key ...",
        "Which line is shown in which colour, by itself or on the picture",
        None,
    ),
    entry(
        Command::SaveSheet,
        "Save a sheet of palettes ...",
        "Every palette that fits, on this very field, in one picture",
        None,
    ),
    entry(
        Command::SaveComparison,
        "Save a comparison ...",
        "Renditions side by side or divided, with labels and keys",
        None,
    ),
    entry(
        Command::SavePage,
        "Save a page to share ...",
        "The picture against another rendition, with key, caption and record, for any browser",
        None,
    ),
    entry(
        Command::SaveMap,
        "Save the map of lines ...",
        "Which line leads where, or how strong one line is beside another, at full size",
        None,
    ),
    entry(
        Command::Undo,
        "Undo",
        "Take the last step back",
        ctrl(Key::Z),
    ),
    entry(
        Command::Redo,
        "Redo",
        "Do the step again that was taken back",
        ctrl_shift(Key::Z),
    ),
    entry(
        Command::ShowHistory,
        "History",
        "All steps, to go back to any of them",
        ctrl(Key::H),
    ),
    entry(
        Command::ZoomFit,
        "Fit",
        "The whole picture in the view",
        plain(Key::F),
    ),
    entry(
        Command::ZoomFull,
        "Full size",
        "One screen pixel for one pixel of the picture",
        plain(Key::Num1),
    ),
    entry(Command::ZoomIn, "Larger", "Zoom in", plain(Key::Plus)),
    entry(Command::ZoomOut, "Smaller", "Zoom out", plain(Key::Minus)),
    entry(
        Command::CompareOne,
        "One alone",
        "The shown rendition by itself",
        plain(Key::Q),
    ),
    entry(
        Command::CompareDivided,
        "Divided",
        "Two renditions, one on each side of an edge",
        plain(Key::W),
    ),
    entry(
        Command::CompareBeside,
        "Side by side",
        "Two renditions beside each other, moving together",
        plain(Key::E),
    ),
    entry(
        Command::CompareTurns,
        "In turns",
        "Two renditions one after the other, slowly",
        plain(Key::R),
    ),
    entry(
        Command::CompareDifference,
        "Difference",
        "How far two renditions lie apart",
        plain(Key::T),
    ),
    entry(
        Command::SwapCompared,
        "Swap the two",
        "The compared renditions change places",
        plain(Key::X),
    ),
    entry(
        Command::NextRendition,
        "Next rendition",
        "Show the next tab",
        ctrl(Key::Tab),
    ),
    entry(
        Command::AddRendition,
        "New rendition",
        "Add a rendition in natural colours",
        ctrl(Key::N),
    ),
    entry(
        Command::CopyRendition,
        "Copy rendition",
        "Add a rendition like the shown one",
        ctrl(Key::D),
    ),
    entry(
        Command::RenameRendition,
        "Rename rendition ...",
        "Give the shown rendition another name",
        plain(Key::F2),
    ),
    entry(
        Command::DeleteRendition,
        "Delete rendition",
        "Take the shown rendition away (undo brings it back)",
        None,
    ),
    entry(
        Command::Marks,
        "Mark what clips",
        "Mark pixels at full scale or outside the output space",
        plain(Key::M),
    ),
    entry(
        Command::ShowLeading,
        "Which line leads",
        "At each place the line that gives most of the light; once more for the picture",
        plain(Key::L),
    ),
    entry(
        Command::ShowRatio,
        "Ratio of lines",
        "How strong one line is beside another; once more for the picture",
        plain(Key::O),
    ),
    entry(
        Command::BeforeNoise,
        "Without noise reduction",
        "See the picture before its noise is smoothed away; once more to come back",
        plain(Key::B),
    ),
    entry(
        Command::NextVision,
        "See as others do",
        "Simulate colour-vision deficiencies, in turn",
        plain(Key::V),
    ),
    entry(
        Command::NextTheme,
        "Next looks",
        "Dark, light, or red for the night",
        plain(Key::N),
    ),
    entry(
        Command::CommandList,
        "All commands",
        "This list, to search and to run from",
        ctrl(Key::K),
    ),
    entry(
        Command::CancelJobs,
        "Stop",
        "Stop what is running",
        plain(Key::Escape),
    ),
    entry(
        Command::Help,
        "Hints",
        "Show the first hints again",
        plain(Key::F1),
    ),
    entry(Command::Quit, "Quit", "Close the window", ctrl(Key::Q)),
];

impl Command {
    /// What the table says of it.
    pub fn entry(self) -> &'static Entry {
        COMMANDS
            .iter()
            .find(|entry| entry.command == self)
            .expect("a test looks every command up")
    }
}
