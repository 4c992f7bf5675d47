//! Renditions come and go.

use std::collections::BTreeMap;

use crate::engine::mix::assign::natural_color;
use crate::engine::recipe::{Channel, ColorValue, Gamut, Recipe, Rendition};
use crate::gui::app::App;
use crate::gui::panels::canvas::tabs::free_id;

impl App {
    pub(super) fn add_rendition(&mut self, copy: bool) {
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

    pub(super) fn delete_rendition(&mut self) {
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
}

// Every channel whose light can be seen, in its own colour; where there is
// none, white.
fn natural(recipe: &Recipe) -> Rendition {
    let visible = |channel: &&Channel| natural_color(&channel.line, channel.center_nm).is_some();
    let mut colors: BTreeMap<String, ColorValue> = recipe
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
        gamut: Some(Gamut::HoldHue),
        colors,
        ..Rendition::blank("natural")
    }
}
