//! The window closes, or first asks about what would be lost.

use std::sync::atomic::Ordering;

use egui::{Context, ViewportCommand};

use crate::gui::app::{After, App, Purpose};
use crate::gui::dialogs::Dialog;

impl App {
    /// Does what waited for an answer about unsaved changes.
    pub(in crate::gui) fn go_on(&mut self, context: &Context, after: After) {
        match after {
            After::Quit => {
                self.may_close = true;
                context.send_viewport_cmd(ViewportCommand::Close);
            }
            After::Open(paths) => self.open(paths),
        }
    }

    /// Closes a window whose program is asked to stop. Nobody may be there to
    /// answer: nothing is asked, and a copy of unsaved work stays for the next time.
    pub(in crate::gui) fn mind_stop(&mut self, context: &Context) {
        if !self.stop.load(Ordering::Relaxed) {
            return;
        }
        self.state.history.commit();
        self.keep_copy();
        context.send_viewport_cmd(ViewportCommand::Close);
    }

    /// Asks before a window with unsaved changes or a running export closes.
    pub(in crate::gui) fn mind_closing(&mut self, context: &Context) {
        if !context.input(|input| input.viewport().close_requested()) {
            return;
        }
        if self.stop.load(Ordering::Relaxed) {
            return;
        }
        let exporting = self
            .purposes
            .values()
            .any(|purpose| matches!(purpose, Purpose::Export | Purpose::Draw));
        if self.may_close || (!self.state.is_edited() && !exporting) {
            self.closing();
            return;
        }
        context.send_viewport_cmd(ViewportCommand::CancelClose);
        self.dialog = Some(if exporting {
            Dialog::Exporting
        } else {
            Dialog::Unsaved(After::Quit)
        });
    }
}
