//! A typed path, for where the system shows no file dialog and for those who
//! are quicker that way.

use egui::{Key, Modifiers, RichText, TextEdit, Ui};

use super::{Next, buttons, heading, main_button};
use crate::gui::app::App;
use crate::gui::asks::{Ask, Asks};
use crate::gui::files::Purpose;
use crate::work::balance::BalanceBy;
use crate::work::paths::{completions, typed};

/// How many completions are listed.
const LISTED: usize = 8;

/// What is typed, and what for.
#[derive(Debug, Clone)]
pub struct PathDialog {
    purpose: Purpose,
    text: String,
    /// A sentence above the field.
    pub note: Option<String>,
    listed: Vec<String>,
    // The text that the list belongs to.
    listed_for: Option<String>,
}

impl PathDialog {
    /// With a text to begin from.
    pub fn new(purpose: Purpose, text: String) -> Self {
        Self {
            purpose,
            text,
            note: None,
            listed: Vec::new(),
            listed_for: None,
        }
    }
}

pub(super) fn show(app: &mut App, ui: &mut Ui, dialog: &mut PathDialog, asks: &mut Asks) -> Next {
    let saving = dialog.purpose == Purpose::SaveAs;
    heading(
        ui,
        match dialog.purpose {
            Purpose::SaveAs => "Save the recipe as",
            Purpose::Catalogue => "Open a catalogue of stars",
            Purpose::Open | Purpose::Export | Purpose::Drawing => "Open a path",
        },
    );
    if let Some(note) = &dialog.note {
        ui.label(RichText::new(note).color(app.state.theme.colors().warning));
    }
    let (tab, enter) = ui.input_mut(|input| {
        (
            input.consume_key(Modifiers::NONE, Key::Tab),
            input.consume_key(Modifiers::NONE, Key::Enter),
        )
    });
    if tab && let Some(first) = dialog.listed.first() {
        dialog.text.clone_from(first);
    }
    let hint = match dialog.purpose {
        Purpose::SaveAs => "A file that ends in .toml",
        Purpose::Catalogue => "A table of stars with their colours (.csv)",
        Purpose::Open | Purpose::Export | Purpose::Drawing => {
            "A stack, a folder, a recipe (.toml) or a record (.json)"
        }
    };
    let mut field = TextEdit::singleline(&mut dialog.text)
        .hint_text(hint)
        .desired_width(f32::INFINITY)
        .show(ui);
    field
        .response
        .widget_info(|| egui::WidgetInfo::labeled(egui::Role::TextInput, true, "Path"));
    field.response.request_focus();
    if tab {
        let end = egui::text::CCursor::new(dialog.text.chars().count());
        let range = egui::text::CCursorRange::one(end);
        field.state.cursor.set_char_range(Some(range));
        field.state.store(ui.ctx(), field.response.id);
    }
    if dialog.listed_for.as_ref() != Some(&dialog.text) {
        dialog.listed = completions(&dialog.text, LISTED);
        dialog.listed_for = Some(dialog.text.clone());
    }
    ui.allocate_ui(
        egui::vec2(ui.available_width(), 26.0 * LISTED as f32),
        |ui| {
            ui.set_min_height(26.0 * LISTED as f32);
            for path in dialog.listed.clone() {
                let row = ui.add(egui::Button::selectable(false, path.as_str()).truncate());
                if row.clicked() {
                    dialog.text = path;
                }
            }
        },
    );
    ui.label(
        RichText::new("Tab takes the first of the list, Enter accepts")
            .small()
            .color(app.state.theme.colors().faint),
    );
    let path = typed(&dialog.text);
    let usable = !dialog.text.trim().is_empty() && (saving || path.exists());
    let mut next = Next::Stay;
    buttons(ui, |ui| {
        let word = if saving { "Save" } else { "Open" };
        let accept = ui
            .add_enabled_ui(usable, |ui| main_button(ui, app, word))
            .inner;
        if (accept.clicked() || enter) && usable {
            next = Next::Close;
            if saving {
                let context = ui.ctx().clone();
                app.save_to(&context, &path);
            } else if dialog.purpose == Purpose::Catalogue {
                asks.push(Ask::Balance(BalanceBy::Catalogue(path.clone())));
            } else {
                asks.push(Ask::Open(vec![path.clone()]));
            }
        }
        if ui.button("Cancel").clicked() {
            app.after_save = None;
            next = Next::Close;
        }
        if !usable && !dialog.text.trim().is_empty() {
            ui.label(RichText::new("No such file or folder").color(app.state.theme.colors().faint));
        }
    });
    next
}
