//! How the picture is looked at: which one, beside what, how large, in what looks.

use egui::Context;

use crate::engine::color::vision::Vision;
use crate::gui::app::App;
use crate::gui::state::Compare;
use crate::gui::theme::Theme;
use crate::work::mixing::finishing;

impl App {
    pub(super) fn next_theme(&mut self, context: &Context) {
        let all = Theme::ALL;
        let at = all.iter().position(|theme| *theme == self.state.theme);
        let theme = all[(at.unwrap_or(0) + 1) % all.len()];
        self.set_theme(context, theme);
    }

    /// Gives the window other looks.
    pub(in crate::gui) fn set_theme(&mut self, context: &Context, theme: Theme) {
        self.state.theme = theme;
        theme.apply(context);
        self.state.pictures.look(context, theme == Theme::Night);
        self.keep_theme();
        self.say(format!("Looks: {}", theme.name()));
    }

    // Whatever the view names is there.
    pub(in crate::gui) fn mend_view(&mut self) {
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

    pub(super) fn show_rendition(&mut self, id: String) {
        let before = std::mem::replace(&mut self.state.view.rendition, id);
        if self.state.view.other.as_ref() == Some(&self.state.view.rendition) {
            self.state.view.other = Some(before);
        }
        self.mend_view();
    }

    pub(super) fn compare(&mut self, how: Compare) {
        self.state.view.compare = how;
        // It is pictures that are compared: what fills the view gives way.
        self.leave_single();
        self.mend_view();
        if how != Compare::One && self.state.view.other.is_none() {
            self.say("There is nothing to compare with: add a second rendition first (Ctrl+D)");
        }
    }

    pub(super) fn swap_compared(&mut self) {
        if let Some(other) = self.state.view.other.take() {
            let shown = std::mem::replace(&mut self.state.view.rendition, other);
            self.state.view.other = Some(shown);
        }
    }

    pub(super) fn next_rendition(&mut self) {
        let renditions = &self.state.recipe().renditions;
        let at = renditions
            .iter()
            .position(|r| r.id == self.state.view.rendition);
        if let Some(next) = renditions.get((at.unwrap_or(0) + 1) % renditions.len().max(1)) {
            let id = next.id.clone();
            self.show_rendition(id);
        }
    }

    pub(super) fn next_vision(&mut self) {
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
    pub(super) fn zoom_to(&mut self, zoom: f64) {
        if let Some(place) = self.state.place_now() {
            self.zoom_by(zoom / place.zoom);
        }
    }

    pub(super) fn zoom_by(&mut self, factor: f64) {
        let (Some(place), Some(pane), Some(size)) =
            (self.state.place_now(), self.state.pane, self.state.size())
        else {
            return;
        };
        self.state.view.place = Some(pane.zoomed(place, pane.middle(), factor, size));
    }
}
