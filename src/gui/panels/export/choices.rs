//! What is exported, how, and where to.

use egui::{DragValue, Id, Label, RichText, ScrollArea, Ui};

use super::ExportDraft;
use crate::engine::frame::Depth;
use crate::engine::recipe::Crop;
use crate::gui::asks::{Ask, Asks};
use crate::gui::panels::about;
use crate::gui::panels::mix::SPACES;
use crate::gui::state::State;
use crate::gui::widgets::dialog::row;
use crate::gui::widgets::form::{self, ROW};
use crate::gui::widgets::output;
use crate::io::write::{Format, Packing};
use crate::work::targets;

pub(super) fn path_id() -> Id {
    Id::unique("export path")
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks) {
    renditions(ui, state, draft);
    kind(ui, state, draft);
    row(ui, state, "Space", |ui| {
        if let Some(space) = form::choice(ui, draft.space, &SPACES) {
            draft.space = space;
        }
    });
    crop(ui, state, asks);
    size(ui, state, draft);
    path(ui, state, draft, asks);
    files(ui, state, draft);
    row(ui, state, "File size", |ui| estimate(ui, state, draft));
    caption(ui, state, draft);
}

fn renditions(ui: &mut Ui, state: &State, draft: &mut ExportDraft) {
    let recipe = state.recipe();
    let changed = row(ui, state, "Renditions", |ui| {
        output::renditions(ui, recipe, &mut draft.renditions)
    });
    if changed {
        let place = |id: &String| recipe.renditions.iter().position(|r| r.id == *id);
        draft.renditions.sort_by_key(place);
        draft.rename(recipe);
        draft.look_again();
    }
}

const KINDS: [(Option<Format>, &str, &str); 4] = [
    (
        Some(Format::Tiff),
        "TIFF",
        "For further work and for print; keeps every depth.",
    ),
    (
        Some(Format::Png),
        "PNG",
        "For the web and for further work; loses nothing.",
    ),
    (
        Some(Format::Jpeg),
        "JPEG",
        "For the web: small, with small losses.",
    ),
    (
        Some(Format::Fits),
        "FITS",
        "Linear light as numbers, with its place on the sky.",
    ),
];

fn kind(ui: &mut Ui, state: &State, draft: &mut ExportDraft) {
    row(ui, state, "Kind of file", |ui| {
        if let Some(Some(format)) = form::choice(ui, draft.format(), &KINDS) {
            draft.set_format(format);
        }
    });
    let Some(format) = draft.format() else { return };
    draft.fit_depth(format);
    row(ui, state, "Depth", |ui| {
        let offered: Vec<(Depth, &str, &str)> = format
            .depths()
            .iter()
            .map(|depth| {
                let about = match depth {
                    Depth::Eight => "256 steps: for the screen.",
                    Depth::Sixteen => "65 536 steps: for further work and print.",
                    Depth::Float32 => "Linear light, not cut off at full scale.",
                };
                (*depth, targets::depth_words(*depth), about)
            })
            .collect();
        if let [(depth, word, about)] = offered.as_slice() {
            draft.depth = *depth;
            form::word(ui, 200.0, *word).on_hover_text(*about);
        } else if let Some(depth) = form::choice(ui, draft.depth, &offered) {
            draft.depth = depth;
        }
    });
    match format {
        Format::Tiff => row(ui, state, "Packing", |ui| {
            let ways = [
                (Packing::None, "None", "Read by every program."),
                (Packing::Fast, "Fast", "Smaller, without loss."),
                (Packing::Small, "Small", "Smaller still, and slower."),
            ];
            if let Some(packing) = form::choice(ui, draft.options.packing, &ways) {
                draft.options.packing = packing;
            }
        }),
        Format::Jpeg => row(ui, state, "Quality", |ui| {
            ui.horizontal(|ui| {
                let mut quality = f64::from(draft.options.quality);
                let touched = form::whole_amount(ui, "Quality", &mut quality, 1.0..=100.0);
                if touched.iter().any(egui::Response::changed) {
                    draft.options.quality = quality.round().clamp(1.0, 100.0) as u8;
                }
            });
        }),
        Format::Png | Format::Fits => {}
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kept {
    All,
    Common,
    Part,
}

fn crop(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let crop = state.recipe().crop;
    let kept = match crop {
        None => Kept::All,
        Some(Crop::Common) => Kept::Common,
        Some(Crop::Part(_)) => Kept::Part,
    };
    let ways = [
        (Kept::All, "All", "The whole grid of the reference."),
        (
            Kept::Common,
            "Common part",
            "The largest rectangle that every channel covers.",
        ),
        (Kept::Part, "A part", "A rectangle of the reference's grid."),
    ];
    let with = |crop: Option<Crop>| {
        let mut recipe = state.recipe().clone();
        recipe.crop = crop;
        recipe
    };
    row(ui, state, "Picture area", |ui| {
        match form::choice(ui, kept, &ways) {
            Some(Kept::All) => asks.edit("Keep the whole grid", with(None)),
            Some(Kept::Common) => asks.edit("Crop to the common part", with(Some(Crop::Common))),
            Some(Kept::Part) => {
                let (width, height) = state.size().map_or((1000, 1000), |s| (s.width, s.height));
                let part = Crop::Part([0, 0, width, height]);
                asks.edit("Crop to a part", with(Some(part)));
            }
            None => {}
        }
        if let Some(Crop::Part(part)) = crop {
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = 4.0;
                let width = ((ui.available_width() - 12.0) / 4.0).floor();
                let names = ["left", "top", "width", "height"];
                for (index, name) in names.into_iter().enumerate() {
                    let mut number = part[index];
                    let least = usize::from(index > 1);
                    let response = ui
                        .add_sized(
                            [width, ROW],
                            DragValue::new(&mut number)
                                .range(least..=1_000_000)
                                .prefix(format!("{name} "))
                                .update_while_editing(false),
                        )
                        .accessible_name(format!("Part {name}"));
                    form::ask(asks, &response, "Crop to a part", || {
                        let mut part = part;
                        part[index] = number;
                        Some(with(Some(Crop::Part(part))))
                    });
                }
            });
        }
    });
}

fn size(ui: &mut Ui, state: &State, draft: &mut ExportDraft) {
    let full = draft.full_size(state);
    let longest = full.map(|size| size.width.max(size.height));
    let ways = [
        (false, "Full", "Every pixel of the grid."),
        (true, "Long edge", "Made smaller, in linear light."),
    ];
    row(ui, state, "Size", |ui| {
        if let Some(smaller) = form::choice(ui, draft.long_edge.is_some(), &ways) {
            draft.long_edge = smaller.then(|| longest.map_or(2048, |longest| longest.min(2048)));
        }
        ui.horizontal(|ui| {
            if let Some(edge) = &mut draft.long_edge {
                let range = 16..=longest.unwrap_or(100_000).max(16);
                output::pixels(ui, edge, range, "Pixels of the long edge");
            }
            let text = match draft.size(state) {
                Some(size) => format!("{size} pixels"),
                None => "known once the channels are in memory".to_owned(),
            };
            output::note(ui, state, &text);
        });
    });
}

fn path(ui: &mut Ui, state: &State, draft: &mut ExportDraft, asks: &mut Asks) {
    row(ui, state, "File", |ui| {
        let touched = output::path(ui, path_id(), &mut draft.path);
        if touched.focused {
            draft.look_again();
        }
        if touched.choose {
            asks.push(Ask::ChooseExportPath);
        }
    });
}

// The folder, and the names that several renditions get.
fn files(ui: &mut Ui, state: &State, draft: &ExportDraft) {
    let targets = draft.targets(state);
    let Some(first) = targets.first() else { return };
    let names: Vec<String> = targets
        .iter()
        .filter_map(|path| Some(path.file_name()?.to_string_lossy().into_owned()))
        .collect();
    row(ui, state, "", |ui| output::folder(ui, state, first, &names));
}

fn estimate(ui: &mut Ui, state: &State, draft: &ExportDraft) {
    let text = match draft.estimate {
        None => "not known yet".to_owned(),
        Some((low, high)) => {
            let (low, high) = (targets::bytes_words(low), targets::bytes_words(high));
            if low == high {
                low
            } else {
                format!("{low} to {high}")
            }
        }
    };
    output::note(ui, state, &text);
}

fn caption(ui: &mut Ui, state: &State, draft: &ExportDraft) {
    let recipe = state.recipe();
    let caption = draft
        .renditions
        .first()
        .and_then(|id| recipe.rendition(id))
        .and_then(|rendition| about::captions(state, rendition));
    let Some(caption) = caption else { return };
    row(ui, state, "Caption", |ui| {
        egui::Frame::new()
            .fill(state.theme.colors().well)
            .corner_radius(4.0)
            .inner_margin(8.0)
            .show(ui, |ui| {
                ui.set_min_width(ui.available_width());
                ScrollArea::vertical()
                    .id_salt("export caption")
                    .max_height(82.0)
                    .show(ui, |ui| {
                        let text = RichText::new(&caption.long).small();
                        ui.add(Label::new(text).wrap().selectable(true));
                    });
            });
    });
}
