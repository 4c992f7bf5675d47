//! The bar at the top: menus, what lies on the desk, undo, export.

use egui::{Align, Button, Layout, RichText, Ui, containers::menu::MenuBar};

use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::panels::canvas::maps;
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::work::mixing::finishing;

const FILE: &[Option<Command>] = &[
    Some(Command::Open),
    Some(Command::OpenPath),
    Some(Command::OpenSample),
    None,
    Some(Command::Save),
    Some(Command::SaveAs),
    Some(Command::Export),
    None,
    Some(Command::SaveKey),
    Some(Command::SaveSheet),
    Some(Command::SaveComparison),
    Some(Command::SavePage),
    Some(Command::SaveMap),
    None,
    Some(Command::Quit),
];

const EDIT: &[Option<Command>] = &[
    Some(Command::Undo),
    Some(Command::Redo),
    Some(Command::ShowHistory),
    None,
    Some(Command::Prepare),
    None,
    Some(Command::AddRendition),
    Some(Command::CopyRendition),
    Some(Command::RenameRendition),
    Some(Command::DeleteRendition),
];

const VIEW: &[Option<Command>] = &[
    Some(Command::ZoomFit),
    Some(Command::ZoomFull),
    Some(Command::ZoomIn),
    Some(Command::ZoomOut),
    None,
    Some(Command::CompareOne),
    Some(Command::CompareDivided),
    Some(Command::CompareBeside),
    Some(Command::CompareTurns),
    Some(Command::CompareDifference),
    Some(Command::SwapCompared),
    None,
    Some(Command::ShowLeading),
    Some(Command::ShowRatio),
    None,
    Some(Command::Marks),
    Some(Command::BeforeNoise),
    Some(Command::NextVision),
    Some(Command::NextTheme),
    None,
    Some(Command::CommandList),
    Some(Command::Help),
];

/// Shows the bar in `ui`.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    let colors = state.theme.colors();
    MenuBar::new().ui(ui, |ui| {
        ui.menu_button("File", |ui| {
            entries(ui, state, FILE, asks);
            recent(ui, state, asks);
        });
        ui.menu_button("Edit", |ui| entries(ui, state, EDIT, asks));
        ui.menu_button("View", |ui| entries(ui, state, VIEW, asks));
        ui.add_space(10.0);
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let ready = !state.layers.is_empty();
            let text = RichText::new("Export")
                .family(bold())
                .color(colors.on_accent);
            let export = ui.add_enabled(
                ready,
                Button::new(text)
                    .fill(colors.accent)
                    .min_size(egui::vec2(84.0, 26.0)),
            );
            if tip(export, Command::Export).clicked() {
                asks.run(Command::Export);
            }
            step_button(ui, "Redo", Command::Redo, state.history.redo_label(), asks);
            step_button(ui, "Undo", Command::Undo, state.history.undo_label(), asks);
            ui.add_space(6.0);
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| title(ui, state));
        });
    });
}

fn title(ui: &mut Ui, state: &State) {
    let colors = state.theme.colors();
    if state.recipe().channels.is_empty() {
        ui.label(RichText::new("Linehue").family(bold()));
        return;
    }
    let about = &state.recipe().about;
    let file = state
        .path
        .as_deref()
        .and_then(|path| path.file_name())
        .map(|name| name.to_string_lossy().into_owned());
    let title = [&about.title, &about.object]
        .into_iter()
        .find(|words| !words.is_empty())
        .cloned()
        .or(file.clone())
        .unwrap_or_else(|| "Untitled".to_owned());
    let where_it_is = state.path.as_deref().map_or_else(
        || "in no file yet".to_owned(),
        |path| path.display().to_string(),
    );
    ui.add(egui::Label::new(RichText::new(title).family(bold())).truncate())
        .on_hover_text(where_it_is);
    let note = match (&state.path, state.is_edited()) {
        (None, _) => "not saved yet",
        (Some(_), true) => "edited",
        (Some(_), false) => "",
    };
    ui.label(RichText::new(note).color(colors.faint));
}

fn step_button(ui: &mut Ui, word: &str, command: Command, label: Option<&str>, asks: &mut Asks) {
    let button = ui.add_enabled(
        label.is_some(),
        Button::new(word).frame_when_inactive(false),
    );
    let key = key_of(ui, command);
    let text = match label {
        Some(label) => format!("{word}: {label} ({key})"),
        None => format!("Nothing to {} ({key})", word.to_lowercase()),
    };
    let clicked = button.clicked();
    button.on_hover_text(&text).on_disabled_hover_text(text);
    if clicked {
        asks.run(command);
    }
}

/// The key of a command as it is written; empty where it has none.
pub fn key_of(ui: &Ui, command: Command) -> String {
    command
        .entry()
        .key
        .map(|key| ui.ctx().format_shortcut(&key))
        .unwrap_or_default()
}

/// The tooltip of a command's button: what it does, and its key.
pub fn tip(response: egui::Response, command: Command) -> egui::Response {
    let entry = command.entry();
    let key = entry.key.map(|key| response.ctx.format_shortcut(&key));
    let text = match key {
        Some(key) => format!("{} ({key})", entry.about),
        None => entry.about.to_owned(),
    };
    response.on_hover_text(&text).on_disabled_hover_text(text)
}

fn entries(ui: &mut Ui, state: &State, commands: &[Option<Command>], asks: &mut Asks) {
    ui.set_min_width(230.0);
    for command in commands {
        let Some(command) = *command else {
            ui.separator();
            continue;
        };
        let name = match command {
            Command::Undo => named(command, state.history.undo_label()),
            Command::Redo => named(command, state.history.redo_label()),
            _ => command.entry().name.to_owned(),
        };
        let button = Button::new(name).shortcut_text(key_of(ui, command));
        let enabled = possible(state, command);
        if ui
            .add_enabled(enabled, button)
            .on_hover_text(command.entry().about)
            .clicked()
        {
            asks.run(command);
            ui.close();
        }
    }
}

fn named(command: Command, label: Option<&str>) -> String {
    let name = command.entry().name;
    label.map_or(name.to_owned(), |label| format!("{name}: {label}"))
}

/// Whether a command has something to work on.
pub fn possible(state: &State, command: Command) -> bool {
    let has_channels = !state.recipe().channels.is_empty();
    match command {
        Command::Undo => state.history.undo_label().is_some(),
        Command::Redo => state.history.redo_label().is_some(),
        Command::Save
        | Command::SaveAs
        | Command::SaveKey
        | Command::SaveSheet
        | Command::SavePage
        | Command::Prepare
        | Command::AddRendition
        | Command::CopyRendition
        | Command::RenameRendition => has_channels,
        Command::Export
        | Command::ZoomFit
        | Command::ZoomFull
        | Command::ZoomIn
        | Command::ZoomOut => !state.layers.is_empty(),
        Command::DeleteRendition
        | Command::SaveComparison
        | Command::NextRendition
        | Command::CompareDivided
        | Command::CompareBeside
        | Command::CompareTurns
        | Command::CompareDifference
        | Command::SwapCompared => state.recipe().renditions.len() > 1,
        Command::ShowLeading => maps::can_lead(state),
        Command::ShowRatio => maps::can_divide(state),
        Command::SaveMap => maps::shown(state).is_some(),
        Command::BeforeNoise => {
            let smoothed = |rendition| finishing::is_smoothed(state.recipe(), rendition);
            state.view.before_noise || state.rendition().is_some_and(smoothed)
        }
        _ => true,
    }
}

fn recent(ui: &mut Ui, state: &State, asks: &mut Asks) {
    if state.recent.is_empty() {
        return;
    }
    ui.separator();
    ui.label(
        RichText::new("Opened lately")
            .small()
            .color(state.theme.colors().faint),
    );
    for path in state.recent.iter().take(8) {
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_else(|| path.display().to_string());
        let row = ui.add(Button::new(name).truncate());
        if row.on_hover_text(path.display().to_string()).clicked() {
            asks.push(Ask::Open(vec![path.clone()]));
            ui.close();
        }
    }
}
