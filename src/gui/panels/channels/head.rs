//! The head of the panel, and the jobs that run.

use egui::{Align, Button, Layout, ProgressBar, RichText, Ui};

use super::elide;
use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::icon::{self, Icon};

/// The panel's name and its two main buttons; without them on an empty desk,
/// which has them larger.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks, empty: bool) {
    ui.add_space(6.0);
    ui.horizontal(|ui| {
        ui.heading("Channels");
        if empty {
            return;
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let ready = !state.recipe().channels.is_empty();
            ui.add_enabled_ui(ready, |ui| {
                command(ui, state, asks, Command::Prepare, ready && waits(state));
            });
            command(ui, state, asks, Command::Open, false);
        });
    });
    ui.add_space(6.0);
}

/// A button that runs a command; `main` draws it in the accent.
pub fn command(ui: &mut Ui, state: &State, asks: &mut Asks, command: Command, main: bool) {
    let colors = state.theme.colors();
    let entry = command.entry();
    let button = if main {
        let text = RichText::new(entry.name)
            .color(colors.on_accent)
            .family(bold());
        Button::new(text)
            .fill(colors.accent)
            .stroke(egui::Stroke::new(1.0, colors.accent))
    } else {
        Button::new(entry.name).stroke(egui::Stroke::new(1.0, colors.line))
    };
    let key = entry.key.map(|key| ui.ctx().format_shortcut(&key));
    let about = key.map_or_else(
        || entry.about.to_owned(),
        |key| format!("{} ({key})", entry.about),
    );
    if ui.add(button).on_hover_text(about).clicked() {
        asks.run(command);
    }
}

/// Whether stacks are as they came, in no recipe's file yet, and one of them does
/// not lie on the reference's grid by anybody's word.
fn waits(state: &State) -> bool {
    let recipe = state.recipe();
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let by_word = state.path.is_some();
    state.prepared.is_empty()
        && recipe.channels.iter().any(|channel| {
            let another = reference != Some(channel.id.as_str());
            another && (channel.align.is_none() && !by_word || needs_prepare(state, &channel.id))
        })
}

/// Whether a channel cannot lie on the reference's grid as it is.
pub fn needs_prepare(state: &State, id: &str) -> bool {
    let Some(size) = state.size() else {
        return false;
    };
    match state.layers.get(id) {
        Some(layer) => layer.size() != size,
        None => state.jobs.is_empty() && !state.failures.contains_key(id),
    }
}

/// The jobs that run, each with a way to stop it.
pub fn jobs(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let colors = state.theme.colors();
    for job in &state.jobs {
        let share = job.share.clamp(0.0, 1.0);
        frame(state).show(ui, |ui| {
            ui.set_width(ui.available_width());
            ui.horizontal(|ui| {
                let font = egui::FontId::new(13.5, bold());
                let title = elide::middle(ui, &job.title, &font, ui.available_width() - 34.0);
                ui.label(RichText::new(title).font(font))
                    .on_hover_text(&job.title);
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    let name = format!("Stop {}", job.title);
                    if icon::button(ui, Icon::Cross, &name, false).clicked() {
                        asks.push(Ask::Cancel(job.ticket));
                    }
                });
            });
            progress(ui, state, share);
            let step = match &job.channel {
                Some(channel) => format!("{channel}: {}", job.step),
                None => job.step.clone(),
            };
            let percent = (share * 100.0).round();
            let text = format!("{step}, {percent} %");
            ui.label(RichText::new(text).small().color(colors.faint));
        });
    }
}

/// A thin bar.
pub fn progress(ui: &mut Ui, state: &State, share: f32) {
    ui.add(
        ProgressBar::new(share)
            .desired_height(6.0)
            .corner_radius(3)
            .fill(state.theme.colors().accent),
    );
}

/// What cards lie in.
pub fn frame(state: &State) -> egui::Frame {
    let colors = state.theme.colors();
    egui::Frame::new()
        .fill(colors.card)
        .stroke(egui::Stroke::new(1.0, colors.line))
        .corner_radius(6)
        .inner_margin(8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text::parse;
    use crate::work::desk::Step;
    use crate::work::history::History;

    fn state(align: &str) -> State {
        let channel = |id: &str, line: &str, align: &str| {
            format!(
                "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n{align}\
                 [channel.stretch]\nblack = 0\nwhite = 1\n"
            )
        };
        let text = format!(
            "recipe = 1\n{}{}[[rendition]]\nid = \"r\"\ncolors = {{ ha = \"#fff\" }}\n",
            channel("ha", "Ha", ""),
            channel("oiii", "OIII", align),
        );
        let mut state = State::empty();
        state.history = History::new("Open", parse(&text, "test").expect("sound"));
        state
    }

    #[test]
    fn prepare_stands_out_until_something_is_prepared() {
        assert!(!waits(&State::empty()));
        let mut unaligned = state("");
        assert!(waits(&unaligned));
        unaligned.prepared.push(Step {
            channel: "oiii".to_owned(),
            step: "align",
            outcome: "84 stars, 0.11 px".to_owned(),
        });
        assert!(!waits(&unaligned));
        assert!(!waits(&state("align = { method = \"stars\" }\n")));
    }
}
