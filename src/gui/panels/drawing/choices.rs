//! What is drawn, how, and where to.

use egui::{Checkbox, DragValue, Id, Ui};

use super::{DrawingDraft, What, maps};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::dialog::row;
use crate::gui::widgets::form::{self, ROW};
use crate::gui::widgets::output;
use crate::work::compare::Split;
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

fn rendition(ui: &mut Ui, state: &State, draft: &mut DrawingDraft) {
    row(ui, state, "Rendition", |ui| {
        output::wrapped(ui, |ui| {
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
        let names = known.iter().map(|palette| &palette.name);
        output::boxes(ui, names, chosen);
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
    row(ui, state, "Renditions", |ui| {
        output::renditions(ui, state.recipe(), &mut draft.renditions);
        if draft.renditions.len() > 1 {
            let order = format!("In this order: {}", draft.renditions.join(", "));
            output::small(ui, state, &order);
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
    let on_picture = draft.place.is_some() || draft.what == What::Page;
    let (word, name) = match on_picture {
        true => ("Long edge", "Pixels of the picture's long edge"),
        false => ("Width", "Pixels from side to side"),
    };
    let range = match draft.what {
        What::Page => page::LONG_EDGES,
        _ => key::WIDTHS,
    };
    row(ui, state, word, |ui| {
        ui.horizontal(|ui| {
            let number = match on_picture {
                true => &mut draft.long_edge,
                false => &mut draft.width,
            };
            output::pixels(ui, number, range, name);
            let note = match (on_picture, draft.what) {
                (true, _) => "sRGB, 8 bit; never enlarged",
                (false, What::Key) => "",
                (false, _) => "pictures are never enlarged",
            };
            output::note(ui, state, note);
        });
    });
}

fn path(ui: &mut Ui, state: &State, draft: &mut DrawingDraft, asks: &mut Asks) {
    row(ui, state, "File", |ui| {
        let touched = output::path(ui, path_id(), &mut draft.path);
        if touched.focused {
            draft.look_again();
        }
        if touched.choose {
            asks.push(Ask::ChooseDrawingPath);
        }
        output::folder(ui, state, &draft.target(state), &[]);
    });
}
