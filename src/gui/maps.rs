//! The app's side of maps of lines: they take the picture's place, and leave it.

use super::app::App;
use super::panels::canvas::maps::{can_divide, can_lead, first_ratio, shown};
use super::panels::drawing::What;
use super::state::LineMap;
use crate::engine::leading::By;

impl App {
    /// Which line leads where, or the picture again.
    pub(super) fn show_leading(&mut self) {
        let shown = matches!(self.state.view.map, Some(LineMap::Leading(_)));
        if !shown && !can_lead(&self.state) {
            self.say("With two lines or more in this rendition, this shows which of them leads");
            return;
        }
        self.show_map((!shown).then_some(LineMap::Leading(By::Shown)));
    }

    /// How strong one line is beside another, or the picture again.
    pub(super) fn show_ratio(&mut self) {
        let shown = matches!(self.state.view.map, Some(LineMap::Ratio(_)));
        let first = first_ratio(self.state.recipe());
        if !shown && (first.is_none() || !can_divide(&self.state)) {
            self.say("With two lines or more on the desk, this shows their ratio");
            return;
        }
        self.show_map(first.filter(|_| !shown).map(LineMap::Ratio));
    }

    /// Opens the dialog that saves the map that is shown.
    pub(super) fn save_map(&mut self) {
        match shown(&self.state) {
            Some(LineMap::Leading(_)) => self.open_drawing(What::Leading),
            Some(LineMap::Ratio(_)) => self.open_drawing(What::Ratio),
            None => self.say("Show a map of lines first: which line leads, or a ratio"),
        }
    }

    // What else takes the picture's place gives way.
    fn show_map(&mut self, map: Option<LineMap>) {
        self.leave_single();
        self.state.view.map = map;
    }

    /// The picture comes back in place of one channel, a sky model or a map.
    pub(super) fn leave_single(&mut self) {
        self.state.solo = None;
        self.state.view.sky = None;
        self.state.view.map = None;
    }
}
