//! Unsaved changes are never lost silently.

use egui::Ui;

use super::{Next, buttons, heading, main_button};
use crate::gui::app::{After, App, Purpose};

pub(super) fn show(app: &mut App, ui: &mut Ui, after: &After) -> Next {
    heading(ui, "Save the changes first?");
    let steps = app.state.history.at();
    ui.label(match after {
        After::Quit => "The recipe has changes that are in no file yet.",
        After::Open(_) => "Opening another recipe takes this one off the desk. It has changes that are in no file yet.",
    });
    if let Some(label) = app.state.history.undo_label()
        && steps > 0
    {
        ui.label(format!("The last of them: {label}."));
    }
    let mut next = Next::Stay;
    let context = ui.ctx().clone();
    buttons(ui, |ui| {
        if main_button(ui, app, "Save").clicked() {
            app.after_save = Some(after.clone());
            app.save(&context);
            next = Next::Close;
        }
        if ui.button("Cancel").clicked() {
            next = Next::Close;
        }
        if ui.button("Don't save").clicked() {
            app.go_on(&context, after.clone());
            next = Next::Close;
        }
    });
    next
}

pub(super) fn exporting(app: &mut App, ui: &mut Ui) -> Next {
    let writes = |purpose: &Purpose| matches!(purpose, Purpose::Export | Purpose::Draw);
    if !app.purposes.values().any(writes) {
        // It ended meanwhile.
        return Next::Close;
    }
    let exporting = app.purposes.values().any(|p| *p == Purpose::Export);
    let what = if exporting { "export" } else { "drawing" };
    let article = if exporting { "An" } else { "A" };
    heading(ui, &format!("{article} {what} is still running"));
    ui.label(format!(
        "If the window closes now, the {what} stops and leaves nothing behind."
    ));
    let mut next = Next::Stay;
    let context = ui.ctx().clone();
    buttons(ui, |ui| {
        if main_button(ui, app, "Wait for it").clicked() {
            next = Next::Close;
        }
        if ui.button("Stop it and close").clicked() {
            let tickets: Vec<_> = app.purposes.keys().copied().collect();
            for ticket in tickets {
                app.worker.cancel(ticket);
            }
            if app.state.is_edited() {
                next = Next::Become(super::Dialog::Unsaved(After::Quit));
            } else {
                app.go_on(&context, After::Quit);
                next = Next::Close;
            }
        }
    });
    next
}
