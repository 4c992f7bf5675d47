//! Files that are being opened: how each stands, and what can be done about it.

use std::path::Path;

use egui::{Align, Id, Layout, RichText, ScrollArea, TextEdit, Ui};

use super::{elide, head};
use crate::engine::lines;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::{FileRow, State};
use crate::gui::widgets::icon::{self, Icon};
use crate::work::desk::RowState;

/// So many guesses are worth a button.
const GUESSES: usize = 4;

/// The list; files that became channels are not in it.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks) {
    for row in &state.rows {
        if !matches!(row.state, RowState::Taken { .. }) {
            head::frame(state).show(ui, |ui| {
                ui.set_width(ui.available_width());
                ui.push_id(&row.path, |ui| one(ui, state, asks, row));
            });
        }
    }
}

fn name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

fn one(ui: &mut Ui, state: &State, asks: &mut Asks, row: &FileRow) {
    let colors = state.theme.colors();
    let name = name(&row.path);
    ui.horizontal(|ui| {
        let font = egui::TextStyle::Body.resolve(ui.style());
        let short = elide::middle(ui, &name, &font, ui.available_width() - 34.0);
        ui.label(short)
            .on_hover_text(row.path.display().to_string());
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            if row.state == RowState::Waiting {
                if icon::button(ui, Icon::Cross, &format!("Stop {name}"), false).clicked() {
                    let part = row.path.display().to_string();
                    asks.push(Ask::CancelPart(row.ticket, part));
                }
            } else if icon::button(ui, Icon::Cross, &format!("Dismiss {name}"), false).clicked() {
                asks.push(Ask::Dismiss(row.path.clone()));
            }
        });
    });
    match &row.state {
        RowState::Waiting => {
            head::progress(ui, state, row.share.clamp(0.0, 1.0));
        }
        RowState::Failed { what, hint } => {
            ui.label(RichText::new(what).color(colors.error));
            ui.label(RichText::new(hint).color(colors.faint));
            again(ui, asks, row, &name);
        }
        RowState::Cancelled => {
            ui.horizontal(|ui| {
                ui.label(RichText::new("Stopped").color(colors.faint));
                again(ui, asks, row, &name);
            });
        }
        RowState::NeedsLine { why, guesses } => {
            ui.label(RichText::new("Which line is this?").color(colors.warning));
            ui.label(RichText::new(why).small().color(colors.faint));
            which(ui, asks, row, guesses, &name);
        }
        RowState::Taken { .. } => {}
    }
}

fn again(ui: &mut Ui, asks: &mut Asks, row: &FileRow, name: &str) {
    let button = ui
        .button("Try again")
        .accessible_name(format!("Try {name} again"));
    if button.clicked() {
        asks.push(Ask::Open(vec![row.path.clone()]));
    }
}

fn which(ui: &mut Ui, asks: &mut Asks, row: &FileRow, guesses: &[String], name: &str) {
    let mut chosen = None;
    ui.horizontal_wrapped(|ui| {
        for guess in guesses.iter().take(GUESSES) {
            let Some(line) = lines::line(guess) else {
                continue;
            };
            let button = ui
                .button(&line.symbol)
                .on_hover_text(&line.name)
                .accessible_name(format!("{name} is {}", line.symbol));
            if button.clicked() {
                chosen = Some(line.id.clone());
            }
        }
    });
    let memory = Id::unique(("search a line", &row.path));
    let mut search: String = ui.data_mut(|data| data.get_temp(memory).unwrap_or_default());
    let field = TextEdit::singleline(&mut search)
        .hint_text("Search all lines by name or nm")
        .desired_width(f32::INFINITY);
    ui.add(field)
        .accessible_name(format!("Search the line of {name}"));
    ScrollArea::vertical()
        .id_salt("lines")
        .max_height(112.0)
        .auto_shrink([false, true])
        .show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 1.0;
            let mut found = false;
            for line in lines::lines().iter().filter(|line| is_meant(line, &search)) {
                found = true;
                let label = if line.is_broad() {
                    format!("{}   {}", line.symbol, line.name)
                } else {
                    format!("{}   {:.1} nm   {}", line.symbol, line.center_nm, line.name)
                };
                let font = egui::TextStyle::Button.resolve(ui.style());
                let width = ui.available_width() - 22.0;
                let short = elide::middle(ui, &label, &font, width);
                let button = ui
                    .selectable_label(false, short)
                    .on_hover_text(&label)
                    .accessible_name(&label);
                if button.clicked() {
                    chosen = Some(line.id.clone());
                }
            }
            if !found {
                ui.label("No line of that name");
            }
        });
    ui.data_mut(|data| data.insert_temp(memory, search));
    if let Some(line) = chosen {
        asks.push(Ask::NameLine {
            path: row.path.clone(),
            line,
        });
    }
}

/// Whether a search by name, symbol, spelling or wavelength means this line.
fn is_meant(line: &lines::Line, search: &str) -> bool {
    let plain = |text: &str| -> String {
        text.chars()
            .filter(|c| c.is_alphanumeric() || *c == '.')
            .flat_map(char::to_lowercase)
            .collect()
    };
    let search = plain(search);
    let search = search.trim_end_matches("nm");
    search.is_empty()
        || plain(&line.name).contains(search)
        || plain(&line.symbol).contains(search)
        || plain(&line.id).contains(search)
        || line.spellings.iter().any(|own| own.starts_with(search))
        || line.air_nm.iter().any(|nm| {
            let near = |searched: f64| (nm - searched).abs() < 0.8;
            format!("{nm:.3}").starts_with(search) || search.parse().is_ok_and(near)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_by_any_of_its_names() {
        let found = |search: &str| -> Vec<&str> {
            lines::lines()
                .iter()
                .filter(|line| is_meant(line, search))
                .map(|line| line.id.as_str())
                .collect()
        };
        assert_eq!(found("").len(), lines::lines().len());
        assert_eq!(found("hydrogen-alpha"), ["Ha"]);
        assert!(found("[o iii]").contains(&"OIII"));
        assert_eq!(found("656.3 nm"), ["Ha"]);
        assert_eq!(found("656"), ["Ha"]);
        assert_eq!(found("no such line"), Vec::<&str>::new());
    }
}
