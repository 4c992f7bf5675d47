//! What stands in front of the window until it is answered.

mod commands;

mod history;

mod path;

mod problem;

mod recover;

mod unsaved;

pub use path::PathDialog;

use egui::{Id, Modal, Ui};

use super::app::{After, App};
use super::asks::Asks;
use super::files::Purpose;
use super::widgets::dialog;
use crate::work::keep::Offer;

/// Which dialog is open.
#[derive(Debug, Clone)]
pub enum Dialog {
    /// A path is typed.
    Path(PathDialog),
    /// There are unsaved changes; what follows once they are dealt with.
    Unsaved(After),
    /// The window is to close while an export runs.
    Exporting,
    /// All commands, to search in.
    Commands(commands::CommandList),
    /// The steps of the recipe.
    History,
    /// Work that an earlier window left behind.
    Recover(Vec<Offer>),
    /// Something failed.
    Problem {
        /// What is wrong.
        what: String,
        /// What to do.
        hint: String,
    },
}

impl Dialog {
    /// A path to type.
    pub fn path(purpose: Purpose, text: String) -> Self {
        Self::Path(PathDialog::new(purpose, text))
    }

    /// All commands.
    pub fn commands() -> Self {
        Self::Commands(commands::CommandList::default())
    }

    /// A sentence above a path that is typed.
    pub fn note(&mut self, text: String) {
        if let Self::Path(dialog) = self {
            dialog.note = Some(text);
        }
    }
}

/// What becomes of a dialog after a frame.
pub(super) enum Next {
    Stay,
    Close,
    Become(Dialog),
}

/// Shows the dialog that is open, if any.
pub fn show(app: &mut App, ui: &mut Ui, asks: &mut Asks) {
    let Some(mut dialog) = app.dialog.take() else {
        return;
    };
    let width: f32 = match &dialog {
        Dialog::Path(_) | Dialog::Commands(_) | Dialog::Recover(_) => 560.0,
        _ => 420.0,
    };
    let modal = Modal::new(Id::unique("dialog")).frame(dialog::frame(&app.state));
    let modal = modal.show(ui.ctx(), |ui| {
        ui.set_width(width.min(ui.ctx().content_rect().width() - 60.0));
        match &mut dialog {
            Dialog::Path(dialog) => path::show(app, ui, dialog, asks),
            Dialog::Unsaved(after) => unsaved::show(app, ui, after),
            Dialog::Exporting => unsaved::exporting(app, ui),
            Dialog::Commands(list) => commands::show(ui, list, asks),
            Dialog::History => history::show(app, ui),
            Dialog::Recover(offers) => recover::show(app, ui, offers),
            Dialog::Problem { what, hint } => problem::show(ui, what, hint),
        }
    });
    let next = match modal.inner {
        Next::Stay if modal.should_close() => Next::Close,
        next => next,
    };
    // What a dialog brought up itself goes before what it was.
    match next {
        Next::Stay => app.dialog = app.dialog.take().or(Some(dialog)),
        Next::Close => {}
        Next::Become(other) => app.dialog = Some(other),
    }
}

/// The heading of a dialog.
fn heading(ui: &mut Ui, text: &str) {
    ui.heading(text);
    ui.add_space(4.0);
}

/// A row of buttons at the foot, to the right.
fn buttons(ui: &mut Ui, add: impl FnOnce(&mut Ui)) {
    ui.add_space(8.0);
    dialog::buttons(ui, add);
}

/// The main button of a dialog, in the accent.
fn main_button(ui: &mut Ui, app: &App, text: &str) -> egui::Response {
    ui.add(dialog::main_button(&app.state, text))
}
