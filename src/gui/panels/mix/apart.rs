//! Whether readers can tell the lines of this rendition apart, and colours that
//! would keep them so.

use std::collections::BTreeSet;
use std::sync::Arc;

use egui::{Align, Id, Label, Layout, RichText, Ui, vec2};

use crate::engine::apart::LOOK_ALIKE;
use crate::engine::apart::suggest::Wish;
use crate::engine::color::vision::Vision;
use crate::engine::recipe::{Recipe, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::form;
use crate::gui::words::sentence;
use crate::work::apart::{Report, report};

const FIGURE: f32 = 30.0;

const ROWS: [(&str, &str); Vision::ALL.len()] = [
    ("Ordinary sight", "All three kinds of cones"),
    ("No red cones", "About 1 man in 100 (protanopia), simulated"),
    (
        "No green cones",
        "About 1 man in 100 (deuteranopia), simulated",
    ),
    ("No blue cones", "Very few people (tritanopia), simulated"),
];

/// What the form for a suggestion holds while it is open.
#[derive(Debug, Clone, Default)]
struct Form {
    keep_order: bool,
    kept: BTreeSet<String>,
    // What was asked for last, and for which rendition.
    asked: Option<(String, Wish)>,
}

fn form_id() -> Id {
    Id::unique("wishes for suggested colours")
}

/// The form of a suggestion is done with.
pub fn close(context: &egui::Context) {
    context.data_mut(|data| data.remove::<Form>(form_id()));
}

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let Some(report) = measured(ui, state.recipe(), rendition) else {
        return;
    };
    let colors = state.theme.colors();
    if report.told.pairs.is_empty() {
        let words = "With two lines or more, this says whether readers can tell them apart.";
        ui.add(Label::new(RichText::new(words).color(colors.faint)).wrap());
        return;
    }
    let about = RichText::new("The nearest two lines for each reader, ΔE").color(colors.faint);
    ui.add(Label::new(about.small()).wrap());
    ui.spacing_mut().item_spacing.y = 2.0;
    for vision in 0..ROWS.len() {
        row(ui, state, &report, vision);
    }
    ui.spacing_mut().item_spacing.y = 6.0;
    for warning in &report.warnings {
        form::problem(ui, colors.warning, &warning.what, &warning.hint);
    }
    suggestion(ui, state, rendition, &report, asks);
}

// Measured anew only when the rendition or the lines change.
fn measured(ui: &Ui, recipe: &Recipe, rendition: &Rendition) -> Option<Arc<Report>> {
    type Key = (Vec<(String, String, Option<f64>)>, Rendition);
    let lines = recipe
        .channels
        .iter()
        .map(|channel| (channel.id.clone(), channel.line.clone(), channel.center_nm))
        .collect();
    let key: Key = (lines, rendition.clone());
    let id = Id::unique("lines told apart");
    let kept = ui.data(|data| data.get_temp::<(Key, Arc<Report>)>(id));
    if let Some((known, report)) = kept
        && known == key
    {
        return Some(report);
    }
    let made = Arc::new(report(recipe, rendition).ok()?);
    ui.data_mut(|data| data.insert_temp(id, (key, Arc::clone(&made))));
    Some(made)
}

fn row(ui: &mut Ui, state: &State, report: &Report, vision: usize) {
    let colors = state.theme.colors();
    let Some(nearest) = report.told.nearest(vision) else {
        return;
    };
    let apart = nearest.apart[vision];
    let [one, other] = report.told.names(nearest);
    let alike = apart < LOOK_ALIKE;
    let color = if alike { colors.warning } else { colors.text };
    let (title, who) = ROWS[vision];
    let hover = |ui: &mut Ui| {
        ui.label(format!("{who}.\nΔE (CIEDE2000) of each two lines:"));
        for pair in &report.told.pairs {
            let [one, other] = report.told.names(pair);
            let (apart, tone) = (pair.apart[vision], pair.tones[vision]);
            ui.label(format!(
                "{apart:.1}  {one} and {other}, at a tone of {tone}"
            ));
        }
        ui.label("About 1 is just noticeable; below 10 they may be taken for one line.");
    };
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let wide = (ui.available_width() * 0.5).min(112.0);
        form::word(ui, wide, RichText::new(title)).on_hover_ui(hover);
        let figure = RichText::new(format!("{apart:.0}"))
            .family(bold())
            .color(color);
        let size = vec2(FIGURE, form::ROW);
        ui.allocate_ui_with_layout(size, Layout::right_to_left(Align::Center), |ui| {
            ui.set_min_width(FIGURE);
            ui.add(Label::new(figure).selectable(false))
                .on_hover_ui(hover);
        });
        let faint = if alike { colors.warning } else { colors.faint };
        let pair = RichText::new(format!("{one}, {other}")).color(faint);
        ui.add(Label::new(pair).truncate().selectable(false))
            .on_hover_ui(hover);
    });
}

fn suggestion(ui: &mut Ui, state: &State, rendition: &Rendition, report: &Report, asks: &mut Asks) {
    let id = form_id();
    let Some(mut form) = ui.data(|data| data.get_temp::<Form>(id)) else {
        let button = ui
            .button("Suggest ...")
            .on_hover_text("Find colours that keep these lines apart for every reader");
        if button.clicked() {
            ui.data_mut(|data| data.insert_temp(id, Form::default()));
        }
        return;
    };
    ui.checkbox(&mut form.keep_order, "Keep the order of wavelengths")
        .on_hover_text("The longest wavelength towards red, the shortest towards violet");
    ui.horizontal_wrapped(|ui| {
        ui.label("Keep the colour of");
        for line in &report.told.lines {
            let mut kept = form.kept.contains(&line.id);
            let changed = ui.checkbox(&mut kept, &line.name).changed();
            if changed && kept {
                form.kept.insert(line.id.clone());
            } else if changed {
                form.kept.remove(&line.id);
            }
        }
    });
    let pin = |id: &String| Some((id.clone(), rendition.colors.get(id)?.clone()));
    let wish = Wish {
        keep_order: form.keep_order,
        pinned: form.kept.iter().filter_map(pin).collect(),
    };
    let now = (rendition.id.clone(), wish);
    // What stood against another wish says nothing of this one.
    if let Some((what, hint)) = &state.suggestion_problem
        && form.asked.as_ref() == Some(&now)
    {
        let error = state.theme.colors().error;
        form::problem(ui, error, &sentence(what), &sentence(hint));
    }
    let mut open = true;
    ui.horizontal(|ui| {
        if ui.button("Suggest colours").clicked() {
            asks.push(Ask::Suggest(now.1.clone()));
            form.asked = Some(now);
        }
        if ui.button("Leave them").clicked() {
            open = false;
        }
    });
    ui.data_mut(|data| {
        if open {
            data.insert_temp(id, form);
        } else {
            data.remove::<Form>(id);
        }
    });
}
