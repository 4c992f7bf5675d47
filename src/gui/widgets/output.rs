//! The rows of dialogs that make files: which renditions, how large, where to;
//! then what stands in the way, and the buttons.

use std::ops::RangeInclusive;
use std::path::Path;

use egui::{Button, Checkbox, DragValue, Id, RichText, ScrollArea, TextEdit, Ui, vec2};

use super::dialog::{self, Keys};
use super::form::{self, ROW};
use crate::engine::recipe::Recipe;
use crate::gui::state::State;
use crate::work::inputs::folder_of;
use crate::work::targets::Finding;

/// Small things that stand in lines, as many in each as fit.
pub fn wrapped(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().interact_size.y = ROW;
        ui.spacing_mut().item_spacing.x = 14.0;
        content(ui);
    });
}

/// A box for each of `names`; `chosen` has those that are ticked, the latest
/// last. Gives whether that changed.
pub fn boxes<'a>(
    ui: &mut Ui,
    names: impl Iterator<Item = &'a String>,
    chosen: &mut Vec<String>,
) -> bool {
    let mut changed = false;
    wrapped(ui, |ui| {
        for name in names {
            let mut on = chosen.contains(name);
            if ui.add(Checkbox::new(&mut on, name)).changed() {
                changed = true;
                chosen.retain(|other| other != name);
                if on {
                    chosen.push(name.clone());
                }
            }
        }
    });
    changed
}

/// A box for each rendition; one that was deleted meanwhile is chosen no more.
/// Gives whether the user changed what is chosen.
pub fn renditions(ui: &mut Ui, recipe: &Recipe, chosen: &mut Vec<String>) -> bool {
    chosen.retain(|id| recipe.rendition(id).is_some());
    let ids = recipe.renditions.iter().map(|rendition| &rendition.id);
    boxes(ui, ids, chosen)
}

/// A number of pixels.
pub fn pixels(ui: &mut Ui, number: &mut usize, range: RangeInclusive<usize>, name: &str) {
    let value = DragValue::new(number)
        .range(range)
        .speed(8.0)
        .suffix(" px")
        .update_while_editing(false);
    ui.add_sized([92.0, ROW], value).accessible_name(name);
}

/// What the user did with a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Touched {
    /// It is about to be typed.
    pub focused: bool,
    /// It is to be picked in the system's dialog.
    pub choose: bool,
}

/// A field for a path, a button for the system's dialog beside it.
pub fn path(ui: &mut Ui, id: Id, path: &mut String) -> Touched {
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let button = 84.0;
        let width = ui.available_width() - button - 6.0;
        let edit = TextEdit::singleline(path)
            .id(id)
            .desired_width(width)
            .margin(vec2(4.0, 3.0));
        let field = ui.add_sized([width, ROW], edit).accessible_name("File");
        let field = field.on_hover_text(path.as_str());
        let choose = ui
            .add_sized([button, ROW], Button::new("Choose ..."))
            .on_hover_text("Pick a folder and a name");
        Touched {
            focused: field.gained_focus(),
            choose: choose.clicked(),
        }
    })
    .inner
}

/// The folder that `target` lies in, after the names of files where there are
/// several.
pub fn folder(ui: &mut Ui, state: &State, target: &Path, names: &[String]) {
    let folder = folder_of(target);
    let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.into());
    let text = match names {
        [_, _, ..] => format!("{} in {}", names.join(", "), folder.display()),
        _ => format!("in {}", folder.display()),
    };
    small(ui, state, &text);
}

/// A faint small line that is told whole where the pointer rests on it.
pub fn small(ui: &mut Ui, state: &State, text: &str) {
    let faint = state.theme.colors().faint;
    let width = ui.available_width();
    form::word(ui, width, RichText::new(text).small().color(faint)).on_hover_text(text);
}

/// A faint line beside a field.
pub fn note(ui: &mut Ui, state: &State, text: &str) {
    let faint = state.theme.colors().faint;
    let width = ui.available_width();
    form::word(ui, width, RichText::new(text).color(faint));
}

/// The rows of the form, which scroll where the window is too low for them and
/// for the findings and the buttons below.
pub fn scrolled(
    ui: &mut Ui,
    id: &str,
    findings: &[Finding],
    failed: Option<&(String, String)>,
    content: impl FnOnce(&mut Ui),
) {
    let said = findings.len() + usize::from(failed.is_some());
    let window = ui.ctx().content_rect();
    let most = (window.height() - 160.0 - 42.0 * said as f32).max(120.0);
    ScrollArea::vertical()
        .id_salt(id)
        .max_height(most)
        // Not less because the dialog was lower a moment ago: it stands in the
        // middle, and grows to both sides.
        .min_scrolled_height(most)
        .auto_shrink([false, true])
        .show(ui, |ui| {
            ui.set_max_width(ui.available_width() - 4.0);
            content(ui);
        });
}

/// What is to be known or settled first, and why it failed before.
pub fn findings(
    ui: &mut Ui,
    state: &State,
    findings: &[Finding],
    failed: Option<&(String, String)>,
) {
    let colors = state.theme.colors();
    for finding in findings {
        let color = if finding.stops {
            colors.error
        } else {
            colors.warning
        };
        form::problem(ui, color, &finding.what, &finding.hint);
    }
    if let Some((what, hint)) = failed {
        form::problem(ui, colors.error, what, hint);
    }
}

/// What the user wants to come of a form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wish {
    /// The file.
    Make,
    /// Nothing.
    Leave,
}

/// The buttons below a form: `make` is on where no finding stops it.
pub fn footer(
    ui: &mut Ui,
    state: &State,
    (make, about): (&str, &str),
    findings: &[Finding],
    keys: Keys,
) -> Option<Wish> {
    let ready = !findings.iter().any(|finding| finding.stops);
    let mut wish = None;
    ui.add_space(8.0);
    dialog::buttons(ui, |ui| {
        // As far in as the fields above.
        ui.add_space(4.0);
        ui.spacing_mut().item_spacing.x = 8.0;
        let make = ui
            .add_enabled(ready, dialog::main_button(state, make))
            .on_hover_text(about);
        let cancel = Button::new("Cancel").min_size(vec2(72.0, 28.0));
        let cancel = ui.add(cancel).on_hover_text("Writes nothing (Escape)");
        if cancel.clicked() || keys.escape {
            wish = Some(Wish::Leave);
        } else if ready && (make.clicked() || keys.enter) {
            wish = Some(Wish::Make);
        }
    });
    wish
}
