//! From keys to commands.

use egui::{Context, Key};

use super::command::{COMMANDS, Command};

/// The commands whose keys were pressed in this frame. Keys without a modifier
/// belong to a text field while one has the focus, and to a menu while one is open;
/// so does Ctrl-Z there.
pub fn pressed(context: &Context) -> Vec<Command> {
    let typing = context.text_edit_focused() || egui::Popup::is_any_open(context);
    let mut found = Vec::new();
    context.input_mut(|input| {
        // The longer ones first, so that Ctrl-Shift-Z is not taken for Ctrl-Z.
        let mut entries: Vec<_> = COMMANDS
            .iter()
            .filter_map(|entry| Some((entry.command, entry.key?)))
            .collect();
        entries.sort_by_key(|(_, key)| (!key.modifiers.shift, !key.modifiers.command));
        for (command, key) in entries {
            let is_plain = !key.modifiers.command && !matches!(key.logical_key, Key::F1 | Key::F2);
            let edits_text = matches!(key.logical_key, Key::Z | Key::Escape);
            if typing && (is_plain || edits_text) {
                continue;
            }
            if is_plain && key.logical_key != Key::Escape && input.modifiers.any() {
                continue;
            }
            if input.consume_shortcut(&key) {
                found.push(command);
            }
        }
        if !typing && input.consume_key(egui::Modifiers::COMMAND, Key::Y) {
            found.push(Command::Redo);
        }
        if !typing && input.consume_key(egui::Modifiers::NONE, Key::Equals) {
            found.push(Command::ZoomIn);
        }
    });
    found
}
