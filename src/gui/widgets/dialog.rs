//! Dialogs that make files: the frame, the keys, how far it is, where it lies.

use egui::{
    Align, Button, Frame, Id, Key, Label, Layout, Modal, Modifiers, ProgressBar, RichText, Ui, vec2,
};

use super::form;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::{Running, State};
use crate::gui::theme::bold;

/// Width of such a dialog, points.
const WIDTH: f32 = 480.0;

/// Width of the words left of the fields, points.
const WORDS: f32 = 84.0;

/// What stands about a dialog.
pub fn frame(state: &State) -> Frame {
    let colors = state.theme.colors();
    Frame::new()
        .fill(colors.panel)
        .stroke(egui::Stroke::new(1.0, colors.line))
        .corner_radius(8.0)
        .inner_margin(16.0)
}

/// Shows `body` over everything else, under a title.
pub fn show(ui: &Ui, state: &State, id: &str, title: &str, body: impl FnOnce(&mut Ui)) {
    let window = ui.ctx().content_rect();
    Modal::new(Id::unique(id))
        .frame(frame(state))
        .show(ui.ctx(), |ui| {
            ui.set_width(WIDTH.min(window.width() - 64.0));
            form::compact(ui);
            ui.label(RichText::new(title).family(bold()).size(16.0));
            ui.add_space(4.0);
            body(ui);
        });
}

/// A row of a form: a word, and fields beside it.
pub fn row<R>(ui: &mut Ui, state: &State, word: &str, content: impl FnOnce(&mut Ui) -> R) -> R {
    let faint = state.theme.colors().faint;
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        form::word(ui, WORDS, RichText::new(word).color(faint));
        ui.vertical(content).inner
    })
    .inner
}

/// The keys that the dialog itself answers to.
#[derive(Debug, Clone, Copy)]
pub struct Keys {
    /// Enter was pressed.
    pub enter: bool,
    /// Escape was pressed.
    pub escape: bool,
}

impl Keys {
    /// Of this frame; `path` is the field that Enter leaves to the dialog.
    // Enter belongs to a button or a number that has the focus, Escape to a
    // field that is being edited. The focus is gone already in the frame that
    // sees Escape, so the frame before tells.
    pub fn new(ui: &Ui, path: Id) -> Self {
        let id = path.with("edits");
        let before = ui.data(|data| data.get_temp::<bool>(id)).unwrap_or(false);
        let focused = ui.memory(|memory| memory.focused());
        let edits =
            focused.is_some_and(|id| egui::text_edit::TextEditState::load(ui.ctx(), id).is_some());
        ui.data_mut(|data| data.insert_temp(id, edits));
        let own = focused.is_none() || focused == Some(path);
        Self {
            enter: own && ui.input(|input| input.key_pressed(Key::Enter)),
            escape: !before
                && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Escape)),
        }
    }
}

/// The main action, in the accent.
pub fn main_button(state: &State, text: &str) -> Button<'static> {
    let colors = state.theme.colors();
    Button::new(RichText::new(text).family(bold()).color(colors.on_accent))
        .fill(colors.accent)
        .min_size(vec2(88.0, 28.0))
}

/// The row of buttons at the foot, from the right. It takes no more height than
/// they do, so that a dialog that has less to show becomes smaller.
pub fn buttons(ui: &mut Ui, add: impl FnOnce(&mut Ui)) {
    let size = vec2(ui.available_width(), 28.0);
    ui.allocate_ui_with_layout(size, Layout::right_to_left(Align::Center), add);
}

/// How far these jobs are; `close` is asked for to hide the dialog.
pub fn progress<'a>(
    ui: &mut Ui,
    state: &State,
    jobs: impl Iterator<Item = &'a Running>,
    close: Ask,
    asks: &mut Asks,
    keys: Keys,
) {
    let colors = state.theme.colors();
    for job in jobs {
        ui.add(Label::new(&job.title).truncate());
        ui.horizontal(|ui| {
            let stop = 64.0;
            let width = ui.available_width() - stop - ui.spacing().item_spacing.x;
            let bar = ProgressBar::new(job.share)
                .desired_width(width)
                .desired_height(10.0)
                .fill(colors.accent);
            ui.add(bar)
                .accessible_name(format!("Progress of {}", job.title));
            let response = ui
                .add_sized([stop, 24.0], Button::new("Stop"))
                .on_hover_text("Nothing will be left half-written");
            if response.clicked() {
                asks.push(Ask::Cancel(job.ticket));
            }
        });
        let step = format!("{} {:.0} %", job.step, job.share * 100.0);
        ui.label(RichText::new(step).small().color(colors.faint));
        ui.add_space(6.0);
    }
    buttons(ui, |ui| {
        let hide = Button::new("Hide").min_size(vec2(72.0, 28.0));
        let hide = ui
            .add(hide)
            .on_hover_text("It goes on; the status line tells how far it is");
        if hide.clicked() || keys.escape {
            asks.push(close);
        }
    });
}

/// What was written.
pub struct Written<'a> {
    /// In a sentence.
    pub said: String,
    /// The files.
    pub paths: &'a [std::path::PathBuf],
    /// What a person should know of them.
    pub notices: &'a [String],
    /// What failed beside them: what is wrong, what to do.
    pub failed: Option<&'a (String, String)>,
    /// The button for one more.
    pub another: &'a str,
    /// What closes the dialog.
    pub close: Ask,
}

/// Where the files lie. Gives whether one more is wished for.
pub fn written(
    ui: &mut Ui,
    state: &State,
    written: Written<'_>,
    asks: &mut Asks,
    keys: Keys,
) -> bool {
    let faint = state.theme.colors().faint;
    ui.label(&written.said);
    for path in written.paths {
        ui.add_space(4.0);
        let text = path.display().to_string();
        ui.add(
            Label::new(RichText::new(&text).color(faint))
                .wrap()
                .selectable(true),
        );
        let name = path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        ui.horizontal(|ui| {
            let show = ui
                .button("Show in folder")
                .on_hover_text(format!("Opens the folder of {name}"));
            if show.clicked() {
                asks.push(Ask::ShowInFolder(path.clone()));
            }
            let copy = ui
                .button("Copy path")
                .on_hover_text("Puts the path on the clipboard");
            if copy.clicked() {
                ui.copy_text(text);
                asks.push(Ask::Say("The path is copied".to_owned()));
            }
        });
    }
    for notice in written.notices {
        ui.add_space(4.0);
        ui.add(Label::new(RichText::new(notice).small()).wrap());
    }
    if let Some((what, hint)) = written.failed {
        ui.add_space(4.0);
        form::problem(ui, state.theme.colors().error, what, hint);
    }
    ui.add_space(10.0);
    let mut more = false;
    buttons(ui, |ui| {
        if ui.add(main_button(state, "Close")).clicked() || keys.enter || keys.escape {
            asks.push(written.close);
        }
        let another = Button::new(written.another).min_size(vec2(72.0, 28.0));
        more = ui.add(another).clicked();
    });
    more
}
