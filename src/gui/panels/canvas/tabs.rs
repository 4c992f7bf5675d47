//! The renditions as tabs, and how two of them are compared.

use std::collections::BTreeMap;

use egui::{ComboBox, Id, Key, TextEdit, Ui, containers::menu::MenuButton};

use super::maps;
use super::pictures::{other, single};
use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::{Channel, ColorValue, Gamut, Recipe, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::panels::top::{key_of, possible, tip};
use crate::gui::state::{Compare, LineMap, State};
use crate::work::mixing::finishing;

/// A name as an id is written: "My mix" is `my-mix`.
pub fn id_of(name: &str) -> String {
    let mut id = String::new();
    for c in name.trim().to_lowercase().chars() {
        match c {
            'a'..='z' | '0'..='9' | '_' => id.push(c),
            _ if id.ends_with('-') || id.is_empty() => {}
            _ => id.push('-'),
        }
    }
    id.trim_end_matches('-').to_owned()
}

/// `wanted`, or with a number after it where that is taken already.
pub fn free_id(recipe: &Recipe, wanted: &str) -> String {
    let is_free = |id: &str| recipe.rendition(id).is_none();
    if is_free(wanted) {
        return wanted.to_owned();
    }
    let mut number = 2_usize;
    loop {
        let id = format!("{wanted}-{number}");
        if is_free(&id) {
            return id;
        }
        number += 1;
    }
}

/// The shown rendition's tab becomes a field for its name.
pub fn start_renaming(context: &egui::Context, state: &State) {
    if let Some(rendition) = state.rendition() {
        let value = (rendition.id.clone(), rendition.id.clone());
        context.data_mut(|data| data.insert_temp(Id::unique("renamed rendition"), value));
    }
}

/// Shows the tabs and the comparison.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let fill = state.theme.colors().panel;
    egui::Frame::new()
        .fill(fill)
        .inner_margin(egui::Margin::symmetric(10, 5))
        .show(ui, |ui| {
            ui.set_width(ui.available_width());
            bar(ui, state, asks);
        });
}

fn bar(ui: &mut Ui, state: &State, asks: &mut Asks) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let shown = state.rendition().map(|rendition| rendition.id.clone());
        for at in 0..state.recipe().renditions.len() {
            tab(ui, state, at, shown.as_deref(), asks);
        }
        let menu = ui.menu_button("+", |ui| {
            if ui.button("New in natural colours").clicked() {
                add_natural(state, asks);
                ui.close();
            }
            let emission = finishing::true_color_with_emission(state.recipe(), "true-color");
            let reason = emission.as_ref().err().cloned().unwrap_or_default();
            let button = egui::Button::new("True colour with emission");
            let button = ui
                .add_enabled(emission.is_ok(), button)
                .on_hover_text(
                    "R, G and B in true colour, and the lines whose continuum is taken out in \
                     theirs; the brightness of L where there is one",
                )
                .on_disabled_hover_text(reason);
            if let (true, Ok(mut new)) = (button.clicked(), emission) {
                let mut recipe = state.recipe().clone();
                new.id = free_id(&recipe, &new.id);
                add(state, &mut recipe, new, asks);
                ui.close();
            }
            if ui.button("Copy of the shown one").clicked() {
                if let Some(rendition) = state.rendition() {
                    copy(state, rendition, asks);
                }
                ui.close();
            }
        });
        menu.response
            .widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, "Add a rendition"));
        menu.response.on_hover_text("Add a rendition");
        if state.recipe().renditions.len() > 1 {
            ui.add_space(6.0);
            ui.separator();
            ui.add_space(6.0);
            comparison(ui, state, asks);
        }
        maps(ui, state, asks);
    });
}

// What the lines say, instead of the picture.
fn maps(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let on = match maps::shown(state) {
        Some(LineMap::Leading(_)) => Some(Command::ShowLeading),
        Some(LineMap::Ratio(_)) => Some(Command::ShowRatio),
        None => None,
    };
    ui.add_space(6.0);
    ui.separator();
    ui.add_space(6.0);
    let button = egui::Button::selectable(on.is_some(), "Maps");
    MenuButton::from_button(button).ui(ui, |ui| {
        for command in [Command::ShowLeading, Command::ShowRatio] {
            let row = egui::Button::selectable(on == Some(command), command.entry().name)
                .shortcut_text(key_of(ui, command));
            let row = ui.add_enabled(possible(state, command), row);
            if tip(row, command).clicked() {
                asks.run(command);
                ui.close();
            }
        }
    });
}

fn comparison(ui: &mut Ui, state: &State, asks: &mut Asks) {
    ui.spacing_mut().item_spacing.x = 6.0;
    // Where something else fills the view, no comparison is shown.
    let shown = single(state).is_none().then_some(state.view.compare);
    for (how, name, command) in [
        (Compare::One, "One", Command::CompareOne),
        (Compare::Divided, "Divided", Command::CompareDivided),
        (Compare::Beside, "Beside", Command::CompareBeside),
        (Compare::Turns, "Turns", Command::CompareTurns),
        (
            Compare::Difference,
            "Difference",
            Command::CompareDifference,
        ),
    ] {
        let response = ui.selectable_label(shown == Some(how), name);
        if response.on_hover_text(command.entry().about).clicked() {
            asks.run(command);
        }
    }
    if matches!(shown, None | Some(Compare::One)) {
        return;
    }
    let chosen = other(state).unwrap_or("");
    let label = ui.label("with");
    let combo = ComboBox::from_id_salt("compared with")
        .selected_text(chosen)
        .truncate()
        .show_ui(ui, |ui| {
            let shown = state.rendition().map(|rendition| &rendition.id);
            for rendition in &state.recipe().renditions {
                if Some(&rendition.id) != shown
                    && ui
                        .selectable_label(rendition.id == chosen, &rendition.id)
                        .clicked()
                {
                    asks.push(Ask::CompareWith(rendition.id.clone()));
                }
            }
        });
    combo.response.labelled_by(label.id);
}

fn tab(ui: &mut Ui, state: &State, at: usize, shown: Option<&str>, asks: &mut Asks) {
    let Some(rendition) = state.recipe().renditions.get(at) else {
        return;
    };
    let key = Id::unique("renamed rendition");
    let renamed: Option<(String, String)> = ui.ctx().data(|data| data.get_temp(key));
    if let Some((id, mut name)) = renamed.filter(|(id, _)| *id == rendition.id) {
        let field = TextEdit::singleline(&mut name).desired_width(120.0);
        let response = ui.add(field);
        response.widget_info(|| {
            let mut info = egui::WidgetInfo::text_edit(true, &name, &name, "");
            info.label = Some("Name of the rendition".into());
            info
        });
        let is_done = response.lost_focus();
        if !is_done {
            response.request_focus();
        }
        let is_escape = ui.input(|input| input.key_pressed(Key::Escape));
        if is_done || is_escape {
            ui.ctx()
                .data_mut(|data| data.remove::<(String, String)>(key));
            if !is_escape {
                rename(state, at, &name, asks);
            }
        } else {
            ui.ctx().data_mut(|data| data.insert_temp(key, (id, name)));
        }
        return;
    }
    let is_shown = shown == Some(rendition.id.as_str());
    let response = ui.selectable_label(is_shown, &rendition.id);
    let start = |ui: &Ui| {
        let value = (rendition.id.clone(), rendition.id.clone());
        ui.ctx().data_mut(|data| data.insert_temp(key, value));
    };
    if response.double_clicked() {
        start(ui);
    } else if response.clicked() && !is_shown {
        asks.push(Ask::ShowRendition(rendition.id.clone()));
    }
    response.context_menu(|ui| {
        let last = state.recipe().renditions.len() - 1;
        if ui.button("Rename").clicked() {
            start(ui);
            ui.close();
        }
        if ui.button("Copy").clicked() {
            copy(state, rendition, asks);
            ui.close();
        }
        for (name, is_possible, to) in [
            ("Move left", at > 0, at.saturating_sub(1)),
            ("Move right", at < last, at + 1),
        ] {
            if ui
                .add_enabled(is_possible, egui::Button::new(name))
                .clicked()
            {
                let mut recipe = state.recipe().clone();
                recipe.renditions.swap(at, to);
                asks.edit(format!("Move {}", rendition.id), recipe);
                ui.close();
            }
        }
        if ui
            .add_enabled(last > 0, egui::Button::new("Delete"))
            .clicked()
        {
            delete(state, at, asks);
            ui.close();
        }
    });
}

fn delete(state: &State, at: usize, asks: &mut Asks) {
    let mut recipe = state.recipe().clone();
    if recipe.renditions.len() < 2 || at >= recipe.renditions.len() {
        return;
    }
    let gone = recipe.renditions.remove(at);
    if state.rendition().is_some_and(|shown| shown.id == gone.id) {
        let next = at.min(recipe.renditions.len() - 1);
        asks.push(Ask::ShowRendition(recipe.renditions[next].id.clone()));
    }
    asks.edit(format!("Delete {}", gone.id), recipe);
}

fn rename(state: &State, at: usize, name: &str, asks: &mut Asks) {
    let mut recipe = state.recipe().clone();
    let Some(old) = recipe.renditions.get(at).map(|r| r.id.clone()) else {
        return;
    };
    let id = id_of(name);
    if id.is_empty() {
        asks.push(Ask::Say("A name needs a letter or a digit.".into()));
        return;
    }
    if id == old {
        return;
    }
    let id = free_id(&recipe, &id);
    let is_shown = state.rendition().is_some_and(|shown| shown.id == old);
    recipe.renditions[at].id.clone_from(&id);
    asks.edit(format!("Rename {old} to {id}"), recipe);
    if is_shown {
        asks.push(Ask::ShowRendition(id.clone()));
    }
    if state.view.other.as_ref() == Some(&old) {
        asks.push(Ask::CompareWith(id.clone()));
    }
    if id != name {
        asks.push(Ask::Say(format!(
            "Named {id}: names are written with a-z, 0-9, - and _."
        )));
    }
}

fn copy(state: &State, rendition: &Rendition, asks: &mut Asks) {
    let mut recipe = state.recipe().clone();
    let mut new = rendition.clone();
    new.id = free_id(&recipe, &new.id);
    add(state, &mut recipe, new, asks);
}

/// A rendition of every channel whose light can be seen, in its own colour;
/// where there is none, of all in white. As in a draft, light that no screen can
/// show keeps its hue.
pub fn natural(recipe: &Recipe) -> Rendition {
    let visible = |channel: &&Channel| natural_color(&channel.line, channel.center_nm).is_some();
    let mut colors: BTreeMap<String, ColorValue> = recipe
        .channels
        .iter()
        .filter(visible)
        .map(|channel| (channel.id.clone(), ColorValue::Natural))
        .collect();
    if colors.is_empty() {
        colors = recipe
            .channels
            .iter()
            .map(|channel| (channel.id.clone(), ColorValue::Vector([1.0; 3])))
            .collect();
    }
    Rendition {
        gamut: Some(Gamut::HoldHue),
        colors,
        ..Rendition::blank("natural")
    }
}

fn add_natural(state: &State, asks: &mut Asks) {
    let mut recipe = state.recipe().clone();
    let mut new = natural(&recipe);
    new.id = free_id(&recipe, &new.id);
    add(state, &mut recipe, new, asks);
}

/// Puts a rendition after another, or last.
pub fn insert(recipe: &mut Recipe, after: Option<&str>, new: Rendition) {
    let renditions = recipe.renditions.iter();
    let at = renditions
        .map(|own| own.id.as_str())
        .position(|id| Some(id) == after);
    let at = at.map_or(recipe.renditions.len(), |at| at + 1);
    recipe.renditions.insert(at, new);
}

fn add(state: &State, recipe: &mut Recipe, new: Rendition, asks: &mut Asks) {
    let id = new.id.clone();
    let shown = state.rendition().map(|rendition| rendition.id.as_str());
    insert(recipe, shown, new);
    asks.edit(format!("Add {id}"), recipe.clone());
    asks.push(Ask::ShowRendition(id));
}
