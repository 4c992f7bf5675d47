//! The one place where asks are carried out.

use std::path::{Path, PathBuf};

use egui::{Context, ViewportCommand};

use super::app::{After, App, Purpose};
use super::asks::Ask;
use super::command::Command;
use super::dialogs::Dialog;
use super::files::{Picked, Purpose as Picking, show_in_folder};
use super::panels::canvas::tabs;
use super::panels::drawing::What;
use super::state::Compare;
use super::theme::Theme;
use crate::engine::recipe::{Blend, ColorValue, Gamut, Recipe, Rendition};
use crate::io::write::atomic::write_whole;
use crate::work::balance::BalanceBy;
use crate::work::desk::Job;
use crate::work::inputs::{folder_of, relative};
use crate::work::mixing::finishing;

impl App {
    /// Carries out what the panels asked for, in order.
    pub(super) fn carry_out(&mut self, context: &Context, asks: Vec<Ask>) {
        for ask in asks {
            match ask {
                Ask::Edit {
                    label,
                    recipe,
                    ongoing,
                } => {
                    self.state.history.propose(label, *recipe);
                    if !ongoing {
                        self.state.history.commit();
                    }
                    self.mend_view();
                }
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

    pub(super) fn run(&mut self, context: &Context, command: Command) {
        match command {
            Command::Open => {
                let folder = self.state.folder.clone();
                self.pickers.ask(context, Picking::Open, &folder, "");
                self.say("Waiting for the file dialog; Ctrl+Shift+O types a path instead");
            }
            Command::OpenPath => self.dialog = Some(Dialog::path(Picking::Open, String::new())),
            Command::OpenSample => match sample_recipe() {
                Some(path) => self.open_or_ask(vec![path]),
                None => {
                    self.dialog = Some(Dialog::Problem {
                        what: "the sample field is not where the program looks for it".to_owned(),
                        hint: "start Linehue in its source folder, or open sample-stacks/lantern/\
                           lantern.toml yourself"
                            .to_owned(),
                    })
                }
            },
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
            Command::Undo => {
                if let Some(label) = self.state.history.undo().map(str::to_owned) {
                    self.say(format!("Undone: {label}"));
                }
                self.mend_view();
            }
            Command::Redo => {
                if let Some(label) = self.state.history.redo().map(str::to_owned) {
                    self.say(format!("Done again: {label}"));
                }
                self.mend_view();
            }
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
            Command::NextTheme => {
                let all = Theme::ALL;
                let at = all.iter().position(|theme| *theme == self.state.theme);
                let theme = all[(at.unwrap_or(0) + 1) % all.len()];
                self.set_theme(context, theme);
            }
            Command::CommandList => self.dialog = Some(Dialog::commands()),
            Command::CancelJobs => {
                if self.state.picking.is_some() {
                    self.pick(None);
                } else if self.state.solo.is_some() || self.state.view.sky.is_some() {
                    self.state.solo = None;
                    self.state.view.sky = None;
                } else if self.state.view.map.is_some() && self.state.jobs.is_empty() {
                    self.state.view.map = None;
                } else {
                    for job in &self.state.jobs {
                        self.worker.cancel(job.ticket);
                    }
                }
            }
            Command::Help => self.state.hint = Some(0),
        }
    }

    /// Gives the window other looks.
    pub(super) fn set_theme(&mut self, context: &Context, theme: Theme) {
        self.state.theme = theme;
        theme.apply(context);
        self.state.pictures.look(context, theme == Theme::Night);
        self.keep_theme();
        self.say(format!("Looks: {}", theme.name()));
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

    // Whatever the view names is there.
    pub(super) fn mend_view(&mut self) {
        let recipe = self.state.history.current();
        let ids: Vec<String> = recipe.renditions.iter().map(|r| r.id.clone()).collect();
        let known =
            |id: &Option<String>| id.as_ref().is_some_and(|id| recipe.channel(id).is_some());
        let (selected, solo, sky) = (
            known(&self.state.selected),
            known(&self.state.solo),
            known(&self.state.view.sky),
        );
        let first = recipe.channels.first().map(|channel| channel.id.clone());
        let noisy = |rendition| finishing::is_smoothed(recipe, rendition);
        let smoothed = recipe.renditions.iter().any(noisy);
        let view = &mut self.state.view;
        // There is no before without an after.
        view.before_noise &= smoothed;
        if !ids.contains(&view.rendition) {
            view.rendition = ids.first().cloned().unwrap_or_default();
        }
        if view
            .other
            .as_ref()
            .is_none_or(|other| !ids.contains(other) || *other == view.rendition)
        {
            view.other = ids.iter().find(|id| **id != view.rendition).cloned();
        }
        if view.other.is_none() {
            view.compare = Compare::One;
        }
        if ids.is_empty() {
            self.state.picking = None;
        }
        if !sky {
            view.sky = None;
        }
        if !solo {
            self.state.solo = None;
        }
        if !selected {
            self.state.selected = first;
        }
    }

    fn show_rendition(&mut self, id: String) {
        let before = std::mem::replace(&mut self.state.view.rendition, id);
        if self.state.view.other.as_ref() == Some(&self.state.view.rendition) {
            self.state.view.other = Some(before);
        }
        self.mend_view();
    }

    fn compare(&mut self, how: Compare) {
        self.state.view.compare = how;
        self.mend_view();
        if how != Compare::One && self.state.view.other.is_none() {
            self.say("There is nothing to compare with: add a second rendition first (Ctrl+D)");
        }
    }

    fn swap_compared(&mut self) {
        if let Some(other) = self.state.view.other.take() {
            let shown = std::mem::replace(&mut self.state.view.rendition, other);
            self.state.view.other = Some(shown);
        }
    }

    fn next_rendition(&mut self) {
        let renditions = &self.state.recipe().renditions;
        let at = renditions
            .iter()
            .position(|r| r.id == self.state.view.rendition);
        if let Some(next) = renditions.get((at.unwrap_or(0) + 1) % renditions.len().max(1)) {
            let id = next.id.clone();
            self.show_rendition(id);
        }
    }

    fn next_vision(&mut self) {
        use crate::engine::color::vision::Vision;
        let at = Vision::ALL
            .iter()
            .position(|vision| *vision == self.state.view.vision);
        self.state.view.vision = Vision::ALL[(at.unwrap_or(0) + 1) % Vision::ALL.len()];
        let text = match self.state.view.vision {
            Vision::Usual => "Seen with usual colour vision",
            Vision::Protan => "Seen without long-wave (red) cones, simulated",
            Vision::Deutan => "Seen without middle-wave (green) cones, simulated",
            Vision::Tritan => "Seen without short-wave (blue) cones, simulated",
        };
        self.say(text);
    }

    // About the middle of the view: to one zoom, or by a factor.
    fn zoom_to(&mut self, zoom: f64) {
        if let Some(place) = self.state.place_now() {
            self.zoom_by(zoom / place.zoom);
        }
    }

    fn zoom_by(&mut self, factor: f64) {
        let (Some(place), Some(pane), Some(size)) =
            (self.state.place_now(), self.state.pane, self.state.size())
        else {
            return;
        };
        self.state.view.place = Some(pane.zoomed(place, pane.middle(), factor, size));
    }

    fn add_rendition(&mut self, copy: bool) {
        let mut recipe = self.state.recipe().clone();
        if recipe.channels.is_empty() {
            return;
        }
        let shown = self.state.rendition().cloned();
        let base = match (&shown, copy) {
            (Some(shown), true) => shown.clone(),
            _ => natural(&recipe),
        };
        let stem = if copy {
            base.id.clone()
        } else {
            "new".to_owned()
        };
        let id = free_id(&recipe, &stem);
        recipe.renditions.push(Rendition {
            id: id.clone(),
            ..base
        });
        self.state
            .history
            .set(format!("Add rendition {id}"), recipe);
        self.show_rendition(id);
    }

    fn delete_rendition(&mut self) {
        let mut recipe = self.state.recipe().clone();
        if recipe.renditions.len() < 2 {
            self.say("The last rendition stays: there would be no picture");
            return;
        }
        let id = self.state.view.rendition.clone();
        recipe.renditions.retain(|rendition| rendition.id != id);
        self.state
            .history
            .set(format!("Delete rendition {id}"), recipe);
        self.say(format!("Rendition {id} deleted; Ctrl+Z brings it back"));
        self.mend_view();
    }

    fn prepare(&mut self) {
        if self.state.recipe().channels.is_empty() {
            self.say("There is nothing to prepare: open stacks first");
            return;
        }
        if self
            .purposes
            .values()
            .any(|purpose| *purpose == Purpose::Prepare)
        {
            self.say("Preparing goes on already");
            return;
        }
        self.state.history.commit();
        let job = Job::Prepare {
            recipe: self.state.recipe().clone(),
            folder: self.state.folder.clone(),
        };
        self.start(job, "Preparing", Purpose::Prepare);
    }

    fn name_line(&mut self, path: PathBuf, line: String) {
        self.state.rows.retain(|row| row.path != path);
        let lines = vec![(path.clone(), line)];
        self.open_with(vec![path], lines);
    }

    // A recipe replaces what lies on the desk: unsaved changes come first.
    fn open_or_ask(&mut self, paths: Vec<PathBuf>) {
        let replaces = paths.iter().any(|path| is_recipe(path));
        if replaces && self.state.is_edited() {
            self.dialog = Some(Dialog::Unsaved(After::Open(paths)));
        } else {
            self.open(paths);
        }
    }

    /// Opens files without asking.
    pub(super) fn open(&mut self, paths: Vec<PathBuf>) {
        self.open_with(paths, Vec::new());
    }

    fn open_with(&mut self, paths: Vec<PathBuf>, lines: Vec<(PathBuf, String)>) {
        if paths.is_empty() {
            return;
        }
        let replaces = paths.iter().any(|path| is_recipe(path));
        let onto = (!replaces && !self.state.recipe().channels.is_empty())
            .then(|| (self.state.recipe().clone(), self.state.folder.clone()));
        let purpose = Purpose::Open {
            onto: onto.is_some(),
        };
        self.remember(&paths);
        let title = match paths.as_slice() {
            [one] => format!("Opening {}", name_of(one)),
            many => format!("Opening {} files", many.len()),
        };
        self.start(Job::Open { paths, onto, lines }, &title, purpose);
    }

    /// What the system's dialogs brought.
    pub(super) fn take_picked(&mut self, context: &Context) {
        let Some(picked) = self.pickers.picked() else {
            return;
        };
        self.say("");
        match picked {
            Picked::Paths(Picking::Open, paths) => self.open_or_ask(paths),
            Picked::Paths(Picking::SaveAs, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.save_to(context, &with_ending(path));
                }
            }
            Picked::Paths(Picking::Catalogue, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.balance(BalanceBy::Catalogue(path));
                }
            }
            Picked::Paths(Picking::Export, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.export_path_chosen(path);
                }
            }
            Picked::Paths(Picking::Drawing, paths) => {
                if let Some(path) = paths.into_iter().next() {
                    self.drawing_path_chosen(path);
                }
            }
            Picked::Nothing(_) => self.after_save = None,
            Picked::Unavailable(Picking::Export | Picking::Drawing, why) => self.say(format!(
                "There is no file dialog here ({why}); type the path instead"
            )),
            Picked::Unavailable(purpose, why) => {
                let text = if purpose == Picking::SaveAs {
                    self.suggested_path().to_string_lossy().into_owned()
                } else {
                    String::new()
                };
                let mut dialog = Dialog::path(purpose, text);
                dialog.note(format!("The system shows no file dialog here: {why}"));
                self.dialog = Some(dialog);
            }
        }
    }

    /// Saves to the recipe's own file, or asks where.
    pub(super) fn save(&mut self, context: &Context) {
        match self.state.path.clone() {
            Some(path) => self.save_to(context, &path),
            None => self.ask_save_as(context),
        }
    }

    fn ask_save_as(&mut self, context: &Context) {
        if self.state.recipe().channels.is_empty() {
            self.say("There is nothing to save yet");
            return;
        }
        let path = self.suggested_path();
        let name = name_of(&path);
        self.pickers
            .ask(context, Picking::SaveAs, folder_of(&path), &name);
        self.say("Waiting for the file dialog");
    }

    fn choose_export_path(&mut self, context: &Context) {
        if let Some(draft) = &self.export {
            let path = self.state.folder.join(draft.path.trim());
            self.choose_path(context, Picking::Export, &path);
        }
    }

    fn choose_drawing_path(&mut self, context: &Context) {
        if let Some(draft) = &self.drawing {
            let path = draft.target(&self.state);
            self.choose_path(context, Picking::Drawing, &path);
        }
    }

    fn choose_path(&mut self, context: &Context, purpose: Picking, path: &Path) {
        let name = name_of(path);
        self.pickers.ask(context, purpose, folder_of(path), &name);
        self.say("Waiting for the file dialog; the path can be typed as well");
    }

    fn suggested_path(&self) -> PathBuf {
        if let Some(path) = &self.state.path {
            return path.clone();
        }
        let about = &self.state.recipe().about;
        let words = [&about.title, &about.object];
        let words = words.iter().find(|words| !words.is_empty());
        let stem = words.map_or("picture".to_owned(), |words| as_id(words));
        self.state.folder.join(format!("{stem}.toml"))
    }

    /// Writes the recipe; paths of the stacks follow it to another folder.
    pub(super) fn save_to(&mut self, context: &Context, path: &Path) {
        self.state.history.commit();
        let (old, new) = (self.state.folder.clone(), folder_of(path).to_owned());
        let moved = old.canonicalize().ok() != new.canonicalize().ok();
        let follow = |recipe: &mut Recipe| {
            if moved {
                for channel in &mut recipe.channels {
                    channel.file = relative(&new, &old.join(&channel.file));
                }
            }
        };
        let mut recipe = self.state.recipe().clone();
        follow(&mut recipe);
        let written = crate::engine::recipe::text::write(&recipe)
            .map_err(|error| error.to_string())
            .and_then(|text| write_whole(path, text.as_bytes()).map_err(|error| error.to_string()));
        match written {
            Ok(()) => {
                self.state.history.amend(follow);
                self.state.folder = new;
                self.state.path = Some(path.to_owned());
                self.state.saved = Some(recipe);
                for layer in self.state.layers.values_mut() {
                    let layer = std::sync::Arc::make_mut(layer);
                    rebase(&mut layer.key, &old, &self.state.folder);
                }
                self.reconciled = None;
                self.remember(&[path.to_owned()]);
                self.say(format!("Saved {}", name_of(path)));
                if let Some(after) = self.after_save.take() {
                    self.go_on(context, after);
                }
            }
            Err(what) => {
                self.after_save = None;
                self.dialog = Some(Dialog::Problem {
                    what: format!("the recipe was not saved: {what}"),
                    hint: "choose another place with Save as; nothing of your work is lost"
                        .to_owned(),
                });
            }
        }
    }

    /// Does what waited for an answer about unsaved changes.
    pub(super) fn go_on(&mut self, context: &Context, after: After) {
        match after {
            After::Quit => {
                self.may_close = true;
                context.send_viewport_cmd(ViewportCommand::Close);
            }
            After::Open(paths) => self.open(paths),
        }
    }

    /// Asks before a window with unsaved changes or a running export closes.
    pub(super) fn mind_closing(&mut self, context: &Context) {
        if !context.input(|input| input.viewport().close_requested()) {
            return;
        }
        let exporting = self
            .purposes
            .values()
            .any(|purpose| matches!(purpose, Purpose::Export | Purpose::Draw));
        if self.may_close || (!self.state.is_edited() && !exporting) {
            self.closing();
            return;
        }
        context.send_viewport_cmd(ViewportCommand::CancelClose);
        self.dialog = Some(if exporting {
            Dialog::Exporting
        } else {
            Dialog::Unsaved(After::Quit)
        });
    }
}

// A layer's files under the names that they have from another folder.
fn rebase(key: &mut crate::work::desk::LayerKey, old: &Path, new: &Path) {
    for path in std::iter::once(&mut key.file).chain(&mut key.grid) {
        let file = path.strip_prefix(old).unwrap_or(path);
        *path = new.join(relative(new, &old.join(file)));
    }
}

/// Whether a path is a recipe or a record by its name.
pub(super) fn is_recipe(path: &Path) -> bool {
    path.extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml") || ending == "json")
}

fn with_ending(path: PathBuf) -> PathBuf {
    if path.extension().is_some() {
        path
    } else {
        path.with_extension("toml")
    }
}

pub(super) fn name_of(path: &Path) -> String {
    path.file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_else(|| path.display().to_string())
}

/// Words as an id: `a-z 0-9 - _`.
pub fn as_id(words: &str) -> String {
    let mut id = String::new();
    for c in words.to_lowercase().chars() {
        if c.is_ascii_alphanumeric() || c == '_' {
            id.push(c);
        } else if !id.is_empty() && !id.ends_with('-') {
            id.push('-');
        }
    }
    let id = id.trim_end_matches('-').to_owned();
    if id.is_empty() {
        "unnamed".to_owned()
    } else {
        id
    }
}

/// An id that no rendition has yet: `stem`, `stem-2`, `stem-3`, ...
pub fn free_id(recipe: &Recipe, stem: &str) -> String {
    if recipe.rendition(stem).is_none() {
        return stem.to_owned();
    }
    let numbered = (2..).map(|number| format!("{stem}-{number}"));
    numbered
        .into_iter()
        .find(|id| recipe.rendition(id).is_none())
        .unwrap_or_default()
}

// Every channel whose light can be seen, in its own colour; where there is
// none, white.
fn natural(recipe: &Recipe) -> Rendition {
    let visible = |channel: &&crate::engine::recipe::Channel| {
        crate::engine::mix::assign::natural_color(&channel.line, channel.center_nm).is_some()
    };
    let mut colors: std::collections::BTreeMap<String, ColorValue> = recipe
        .channels
        .iter()
        .filter(visible)
        .map(|channel| (channel.id.clone(), ColorValue::Natural))
        .collect();
    if colors.is_empty() {
        colors = recipe
            .channels
            .iter()
            .map(|channel| (channel.id.clone(), ColorValue::Vector([1.0; 3])))
            .collect();
    }
    Rendition {
        id: "natural".to_owned(),
        blend: Blend::Light,
        gamut: Some(Gamut::HoldHue),
        saturation: None,
        luminance: None,
        balance: None,
        stars: None,
        smooth_color: None,
        eye: false,
        colors,
    }
}

/// Where the sample field's recipe is.
fn sample_recipe() -> Option<PathBuf> {
    let inside = Path::new("sample-stacks/lantern/lantern.toml");
    let beside_program = std::env::current_exe().ok().and_then(|program| {
        let shared = program.parent()?.parent()?.join("share/linehue");
        Some(shared.join(inside))
    });
    [
        Some(inside.to_owned()),
        beside_program,
        Some(Path::new(env!("CARGO_MANIFEST_DIR")).join(inside)),
    ]
    .into_iter()
    .flatten()
    .find(|path| path.is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_become_ids() {
        assert_eq!(as_id("My mix!"), "my-mix");
        assert_eq!(as_id("  Lantern Shell (2) "), "lantern-shell-2");
        assert_eq!(as_id("Ω"), "unnamed");
    }

    #[test]
    fn the_sample_field_is_found() {
        assert!(sample_recipe().is_some());
    }

    #[test]
    fn recipes_are_told_by_their_ending() {
        assert!(is_recipe(Path::new("a/b.TOML")));
        assert!(is_recipe(Path::new("x.tif.record.json")));
        assert!(!is_recipe(Path::new("x.fits")));
    }
}
