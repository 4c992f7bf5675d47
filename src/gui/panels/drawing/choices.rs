//! What is drawn, how, and where to.

use egui::{Checkbox, DragValue, Id, RichText, TextEdit, Ui, vec2};

use super::{DrawingDraft, What, maps};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::row;
use crate::gui::widgets::form::{self, ROW};
use crate::work::compare::Split;
use crate::work::inputs::folder_of;
use crate::work::key::{self, Place};
use crate::work::page;
use crate::work::sheet;

pub(super) fn path_id() -> Id {
    Id::unique("drawing path")
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks) {
    match draft.what {
        What::Key => {
            rendition(ui, state, draft);
            place(ui, state, draft);
        }
        What::Sheet => {
            palettes(ui, state, draft);
            columns(ui, state, draft);
        }
        What::Comparison => {
            renditions(ui, state, draft);
            arrangement(ui, state, draft);
        }
        What::Page => {
            renditions(ui, state, draft);
            parts(ui, state, draft);
        }
        What::Leading => {
            rendition(ui, state, draft);
            maps::by(ui, state, draft);
        }
        What::Ratio => maps::ratio(ui, state, draft),
    }
    if draft.what != What::Page {
        kind(ui, state, draft);
    }
    if !matches!(draft.what, What::Leading | What::Ratio) {
        if draft.what != What::Page {
            looks(ui, state, draft);
        }
        size(ui, state, draft);
    }
    path(ui, state, draft, asks);
}

fn wrapped(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().interact_size.y = ROW;
        ui.spacing_mut().item_spacing.x = 14.0;
        content(ui);
    });
}

fn rendition(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    row(ui, state, "Rendition", |ui| {
        wrapped(ui, |ui| {
            for rendition in &state.recipe().renditions {
                let chosen = draft.renditions.first() == Some(&rendition.id);
                if ui.radio(chosen, &rendition.id).clicked() && !chosen {
                    draft.renditions = vec![rendition.id.clone()];
                }
            }
        });
    });
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Where {
    Alone,
    Corner,
    Below,
}

fn place(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let now = match draft.place {
        None => Where::Alone,
        Some(Place::Below) => Where::Below,
        Some(_) => Where::Corner,
    };
    let ways = [
        (Where::Alone, "By itself", "The key alone, with its title."),
        (
            Where::Corner,
            "In a corner",
            "On a copy of the picture, which is composed for it.",
        ),
        (
            Where::Below,
            "Below",
            "Under a copy of the picture, which is composed for it.",
        ),
    ];
    row(ui, state, "Place", |ui| {
        match form::choice(ui, now, &ways) {
            Some(Where::Alone) => draft.set_place(None),
            Some(Where::Corner) => draft.set_place(Some(Place::LowerLeft)),
            Some(Where::Below) => draft.set_place(Some(Place::Below)),
            None => {}
        }
        let Some(corner) = draft.place.filter(|place| *place != Place::Below) else {
            return;
        };
        let corners = [
            (
                Place::LowerLeft,
                "Lower left",
                "The picture's lower left corner.",
            ),
            (
                Place::LowerRight,
                "Lower right",
                "The picture's lower right corner.",
            ),
            (
                Place::UpperLeft,
                "Upper left",
                "The picture's upper left corner.",
            ),
            (
                Place::UpperRight,
                "Upper right",
                "The picture's upper right corner.",
            ),
        ];
        if let Some(corner) = form::choice(ui, corner, &corners) {
            draft.set_place(Some(corner));
        }
    });
}

fn palettes(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (
            false,
            "All that fit",
            "Those of the program and your own; the others are listed with the reason.",
        ),
        (true, "Chosen ones", "Choose them by name."),
    ];
    row(ui, state, "Palettes", |ui| {
        if let Some(some) = form::choice(ui, draft.palettes.is_some(), &ways) {
            draft.palettes = some.then(Vec::new);
        }
        let Some(chosen) = &mut draft.palettes else {
            return;
        };
        let known = sheet::known(&state.own_palettes);
        wrapped(ui, |ui| {
            for palette in &known {
                let mut on = chosen.contains(&palette.name);
                if ui.add(Checkbox::new(&mut on, &palette.name)).changed() {
                    chosen.retain(|name| *name != palette.name);
                    if on {
                        chosen.push(palette.name.clone());
                    }
                }
            }
        });
        // In the order in which they are listed.
        let order = |name: &String| known.iter().position(|palette| palette.name == *name);
        chosen.sort_by_key(order);
    });
}

fn columns(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (
            false,
            "As suits",
            "The sheet becomes a little wider than high.",
        ),
        (true, "A number", "So many pictures stand in a row."),
    ];
    row(ui, state, "In a row", |ui| {
        if let Some(fixed) = form::choice(ui, draft.columns.is_some(), &ways) {
            draft.columns = fixed.then_some(4);
        }
        if let Some(columns) = &mut draft.columns {
            ui.add_sized(
                [92.0, ROW],
                DragValue::new(columns)
                    .range(sheet::COLUMNS)
                    .speed(0.1)
                    .update_while_editing(false),
            )
            .accessible_name("Pictures in a row");
        }
    });
}

fn renditions(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let recipe = state.recipe();
    // One that was deleted meanwhile is not shown.
    draft.renditions.retain(|id| recipe.rendition(id).is_some());
    row(ui, state, "Renditions", |ui| {
        wrapped(ui, |ui| {
            for rendition in &recipe.renditions {
                let mut on = draft.renditions.contains(&rendition.id);
                if ui.add(Checkbox::new(&mut on, &rendition.id)).changed() {
                    draft.renditions.retain(|id| *id != rendition.id);
                    if on {
                        draft.renditions.push(rendition.id.clone());
                    }
                }
            }
        });
        if draft.renditions.len() > 1 {
            let text = format!("In this order: {}", draft.renditions.join(", "));
            let faint = state.theme.colors().faint;
            let width = ui.available_width();
            form::word(ui, width, RichText::new(&text).small().color(faint)).on_hover_text(text);
        }
    });
}

fn arrangement(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (None, "Side by side", "A picture of each."),
        (
            Some(Split::Vertical),
            "Divided",
            "One picture, divided by upright lines.",
        ),
        (
            Some(Split::Diagonal),
            "Diagonal",
            "One picture, divided from corner to corner.",
        ),
    ];
    row(ui, state, "Arranged", |ui| {
        if let Some(split) = form::choice(ui, draft.split, &ways) {
            draft.split = split;
        }
        ui.add(Checkbox::new(&mut draft.keys, "A colour key under each"));
    });
}

// A page is a folder or one file; its pictures are JPEG or PNG.
fn parts(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (
            false,
            "Folder",
            "A page and its files beside it: for a place on the web.",
        ),
        (
            true,
            "One file",
            "Pictures and records within the page: for a letter.",
        ),
    ];
    row(ui, state, "Kind of page", |ui| {
        if let Some(one_file) = form::choice(ui, draft.one_file(), &ways) {
            draft.set_one_file(one_file);
        }
    });
    let ways = [
        (false, "JPEG", "Small, with small losses."),
        (true, "PNG", "Without loss, several times as large."),
    ];
    row(ui, state, "Pictures", |ui| {
        if let Some(png) = form::choice(ui, draft.png, &ways) {
            draft.png = png;
        }
    });
}

fn kind(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    row(ui, state, "Kind of file", |ui| {
        let ways: Vec<_> = draft
            .kinds()
            .iter()
            .map(|kind| (Some(*kind), kind.name, kind.about))
            .collect();
        if let Some(Some(kind)) = form::choice(ui, draft.kind(), &ways) {
            draft.set_kind(kind);
        }
    });
}

fn looks(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let ways = [
        (
            false,
            "Dark",
            "Light words on a dark ground, for the screen.",
        ),
        (true, "Light", "Dark words on white, for paper."),
    ];
    row(ui, state, "Looks", |ui| {
        if let Some(light) = form::choice(ui, draft.light, &ways) {
            draft.light = light;
        }
    });
}

fn size(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    let faint = state.theme.colors().faint;
    let on_picture = draft.place.is_some() || draft.what == What::Page;
    let (word, name) = match on_picture {
        true => ("Long edge", "Pixels of the picture's long edge"),
        false => ("Width", "Pixels from side to side"),
    };
    row(ui, state, word, |ui| {
        ui.horizontal(|ui| {
            let number = match on_picture {
                true => &mut draft.long_edge,
                false => &mut draft.width,
            };
            ui.add_sized(
                [92.0, ROW],
                DragValue::new(number)
                    .range(match draft.what {
                        What::Page => page::LONG_EDGES,
                        _ => key::WIDTHS,
                    })
                    .speed(8.0)
                    .suffix(" px")
                    .update_while_editing(false),
            )
            .accessible_name(name);
            let note = match (on_picture, draft.what) {
                (true, _) => "sRGB, 8 bit; never enlarged",
                (false, What::Key) => "",
                (false, _) => "pictures are never enlarged",
            };
            let width = ui.available_width();
            form::word(ui, width, RichText::new(note).color(faint));
        });
    });
}

fn path(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks) {
    row(ui, state, "File", |ui| {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            let button = 84.0;
            let width = ui.available_width() - button - 6.0;
            let field = ui
                .add_sized(
                    [width, ROW],
                    TextEdit::singleline(&mut draft.path)
                        .id(path_id())
                        .desired_width(width)
                        .margin(vec2(4.0, 3.0)),
                )
                .accessible_name("File");
            let field = field.on_hover_text(draft.path.as_str());
            if field.gained_focus() {
                draft.look_again();
            }
            let choose = ui
                .add_sized([button, ROW], egui::Button::new("Choose ..."))
                .on_hover_text("Pick a folder and a name");
            if choose.clicked() {
                asks.push(Ask::ChooseDrawingPath);
            }
        });
        let target = draft.target(state);
        let folder = folder_of(&target);
        let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.into());
        let text = format!("in {}", folder.display());
        let faint = state.theme.colors().faint;
        let width = ui.available_width();
        form::word(ui, width, RichText::new(&text).small().color(faint)).on_hover_text(&text);
    });
}
