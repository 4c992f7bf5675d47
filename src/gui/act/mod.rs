//! The one place where asks are carried out.

mod closing;

mod editing;

mod jobs;

mod opening;

mod picking;

mod renditions;

mod saving;

mod view;

use std::path::Path;

use egui::{Context, ViewportCommand};

use super::app::App;
use super::asks::Ask;
use super::command::Command;
use super::dialogs::Dialog;
use super::files::{Purpose as Picking, show_in_folder};
use super::panels::canvas::tabs;
use super::panels::drawing::What;
use super::state::Compare;

impl App {
    /// Carries out what the panels asked for, in order.
    pub(super) fn carry_out(&mut self, context: &Context, asks: Vec<Ask>) {
        for ask in asks {
            match ask {
                Ask::Edit {
                    label,
                    recipe,
                    ongoing,
                } => self.edit(label, *recipe, ongoing),
                Ask::Settle => self.state.history.commit(),
                Ask::Run(command) => self.run(context, command),
                Ask::Select(id) => self.state.selected = id,
                Ask::Solo(id) => self.state.solo = id,
                Ask::Hide { channel, hidden } => {
                    if hidden {
                        self.state.hidden.insert(channel);
                    } else {
                        self.state.hidden.remove(&channel);
                    }
                }
                Ask::ShowSky(id) => self.state.view.sky = id,
                Ask::ShowRendition(id) => self.show_rendition(id),
                Ask::CompareWith(id) => self.state.view.other = Some(id),
                Ask::Open(paths) => self.open_or_ask(paths),
                Ask::NameLine { path, line } => self.name_line(path, line),
                Ask::Cancel(ticket) => self.worker.cancel(ticket),
                Ask::CancelPart(ticket, part) => self.worker.cancel_part(ticket, &part),
                Ask::GoOnWithParts => self.go_on_with_parts(),
                Ask::Dismiss(path) => self.state.rows.retain(|row| row.path != path),
                Ask::View(view) => self.state.view = view,
                Ask::Balance(by) => self.balance(by),
                Ask::Suggest(wish) => self.suggest(wish),
                Ask::Pick(picking) => self.pick(picking),
                Ask::ChooseCatalogue => self.choose_catalogue(context),
                Ask::Space(space) => self.state.space = space,
                Ask::AutoStretch(id) => self.auto_stretch(&id),
                Ask::SavePalette(palette) => self.save_palette(&palette),
                Ask::RemovePalette(name) => self.remove_palette(&name),
                Ask::ChooseExportPath => self.choose_export_path(context),
                Ask::Export(draft) => self.start_export(*draft),
                Ask::CloseExport => self.export = None,
                Ask::ChooseDrawingPath => self.choose_drawing_path(context),
                Ask::Draw(draft) => self.start_drawing(*draft),
                Ask::CloseDrawing => self.drawing = None,
                Ask::ShowInFolder(path) => {
                    if let Err(what) = show_in_folder(&path) {
                        self.say(what);
                    }
                }
                Ask::Say(text) => self.say(text),
            }
        }
    }

    fn run(&mut self, context: &Context, command: Command) {
        match command {
            Command::Open => self.ask_open(context),
            Command::OpenPath => self.dialog = Some(Dialog::path(Picking::Open, String::new())),
            Command::OpenSample => self.open_sample(),
            Command::Save => self.save(context),
            Command::SaveAs => self.ask_save_as(context),
            Command::Export => self.open_export(),
            Command::SaveKey => self.open_drawing(What::Key),
            Command::SaveSheet => self.open_drawing(What::Sheet),
            Command::SaveComparison => self.open_drawing(What::Comparison),
            Command::SavePage => self.open_drawing(What::Page),
            Command::SaveMap => self.save_map(),
            Command::Prepare => self.prepare(),
            Command::Quit => context.send_viewport_cmd(ViewportCommand::Close),
            Command::Undo => self.undo(),
            Command::Redo => self.redo(),
            Command::ShowHistory => self.dialog = Some(Dialog::History),
            Command::ZoomFit => self.state.view.place = None,
            Command::ZoomFull => self.zoom_to(1.0),
            Command::ZoomIn => self.zoom_by(1.25),
            Command::ZoomOut => self.zoom_by(0.8),
            Command::CompareOne => self.compare(Compare::One),
            Command::CompareDivided => self.compare(Compare::Divided),
            Command::CompareBeside => self.compare(Compare::Beside),
            Command::CompareTurns => self.compare(Compare::Turns),
            Command::CompareDifference => self.compare(Compare::Difference),
            Command::SwapCompared => self.swap_compared(),
            Command::NextRendition => self.next_rendition(),
            Command::AddRendition => self.add_rendition(false),
            Command::CopyRendition => self.add_rendition(true),
            Command::RenameRendition => tabs::start_renaming(context, &self.state),
            Command::DeleteRendition => self.delete_rendition(),
            Command::Marks => self.state.view.marks = !self.state.view.marks,
            Command::ShowLeading => self.show_leading(),
            Command::ShowRatio => self.show_ratio(),
            Command::BeforeNoise => self.before_noise(),
            Command::NextVision => self.next_vision(),
            Command::NextTheme => self.next_theme(context),
            Command::CommandList => self.dialog = Some(Dialog::commands()),
            Command::CancelJobs => self.step_back(),
            Command::Help => self.state.hint = Some(0),
        }
    }

    pub(super) fn say(&mut self, text: impl Into<String>) {
        self.state.said = text.into();
        self.state.made = None;
    }

    /// Tells of a file that was made.
    pub(super) fn say_made(&mut self, text: impl Into<String>, path: &Path) {
        self.say(text);
        self.state.made = Some(path.to_owned());
    }
}

/// What a file is called, without its folder.
pub(super) fn name_of(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_else(|| path.display().to_string())
}
