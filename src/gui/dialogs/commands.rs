//! All commands in one list: type to narrow it, Enter runs the marked one.

use egui::{Key, Modifiers, RichText, TextEdit, Ui};

use super::{Next, heading};
use crate::gui::asks::Asks;
use crate::gui::command::{COMMANDS, Command, Entry};

/// What was typed, and which line is marked.
#[derive(Debug, Clone, Default)]
pub struct CommandList {
    filter: String,
    marked: usize,
}

pub(super) fn show(ui: &mut Ui, list: &mut CommandList, asks: &mut Asks) -> Next {
    heading(ui, "All commands");
    // The arrows move the mark, not the text's cursor.
    let (up, down, enter) = ui.input_mut(|input| {
        (
            input.consume_key(Modifiers::NONE, Key::ArrowUp),
            input.consume_key(Modifiers::NONE, Key::ArrowDown),
            input.consume_key(Modifiers::NONE, Key::Enter),
        )
    });
    let field = TextEdit::singleline(&mut list.filter)
        .hint_text("Type to narrow the list")
        .desired_width(f32::INFINITY);
    let field = ui.add(field);
    field.widget_info(|| egui::WidgetInfo::labeled(egui::Role::TextInput, true, "Search commands"));
    field.request_focus();
    if field.changed() {
        list.marked = 0;
    }
    let found = matching(&list.filter);
    if down {
        list.marked += 1;
    }
    if up {
        list.marked = list.marked.saturating_sub(1);
    }
    list.marked = list.marked.min(found.len().saturating_sub(1));
    let mut chosen: Option<Command> = None;
    if enter {
        chosen = found.get(list.marked).map(|entry| entry.command);
    }
    ui.add_space(4.0);
    egui::ScrollArea::vertical()
        .max_height(380.0)
        .auto_shrink([false, true])
        .show(ui, |ui| {
            if found.is_empty() {
                ui.label("No command has these words.");
            }
            for (index, entry) in found.iter().enumerate() {
                let row = line(ui, entry, index == list.marked);
                if index == list.marked && (up || down) {
                    row.scroll_to_me(None);
                }
                if row.clicked() {
                    chosen = Some(entry.command);
                }
            }
        });
    match chosen {
        Some(command) => {
            asks.run(command);
            Next::Close
        }
        None => Next::Stay,
    }
}

// Commands that have every typed word in their name or sentence.
fn matching(filter: &str) -> Vec<&'static Entry> {
    let filter = filter.to_lowercase();
    let words: Vec<&str> = filter.split_whitespace().collect();
    COMMANDS
        .iter()
        .filter(|entry| entry.command != Command::CommandList)
        .filter(|entry| {
            let text = format!("{} {}", entry.name, entry.about).to_lowercase();
            words.iter().all(|word| text.contains(word))
        })
        .collect()
}

fn line(ui: &mut Ui, entry: &Entry, marked: bool) -> egui::Response {
    let faint = ui.visuals().weak_text_color();
    let key = entry
        .key
        .map(|key| ui.ctx().format_shortcut(&key))
        .unwrap_or_default();
    let text = egui::Atoms::new((
        RichText::new(entry.name),
        RichText::new(entry.about).small().color(faint),
        egui::Atom::grow(),
        RichText::new(key).small(),
    ));
    let button = egui::Button::selectable(marked, text)
        .min_size(egui::vec2(ui.available_width(), 26.0))
        .truncate();
    let response = ui.add(button);
    response
        .widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, marked, entry.name));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_narrow_the_list() {
        assert_eq!(matching("").len(), COMMANDS.len() - 1);
        let found: Vec<Command> = matching("save as").iter().map(|e| e.command).collect();
        assert_eq!(found, [Command::SaveAs]);
        assert!(matching("xyzzy").is_empty());
    }
}
