//! The key as it will be, small.

use egui::{ColorImage, Id, Image, TextureHandle, TextureOptions, Ui, vec2};

use super::DrawingDraft;
use crate::engine::recipe::Recipe;
use crate::gui::panels::canvas::pictures::in_red;
use crate::gui::state::State;
use crate::gui::theme::Theme;
use crate::gui::widgets::dialog::row;
use crate::work::key;

// What was drawn last, and of what.
#[derive(Clone)]
struct Drawn {
    of: (Recipe, String, usize, bool, bool),
    texture: Option<TextureHandle>,
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &DrawingDraft) {
    let Some(id) = draft.renditions.first() else {
        return;
    };
    row(ui, state, "Preview", |ui| {
        let points = ui.available_width();
        let width = (points * ui.ctx().pixels_per_point()).round() as usize;
        let night = state.theme == Theme::Night;
        let of = (
            state.recipe().clone(),
            id.clone(),
            width,
            draft.light,
            night,
        );
        let memory = Id::unique("key preview");
        let known = ui.data(|data| data.get_temp::<Drawn>(memory));
        let drawn = match known.filter(|drawn| drawn.of == of) {
            Some(drawn) => drawn,
            None => {
                let texture = texture(ui, &of);
                let drawn = Drawn { of, texture };
                ui.data_mut(|data| data.insert_temp(memory, drawn.clone()));
                drawn
            }
        };
        let Some(texture) = &drawn.texture else {
            ui.label("A colour of this rendition cannot be worked out");
            return;
        };
        let [across, down] = texture.size().map(|side| side as f32);
        let size = vec2(points, points * down / across);
        ui.add(
            Image::new((texture.id(), size))
                .corner_radius(4.0)
                .alt_text("The colour key as it will be"),
        );
    });
}

fn texture(
    ui: &Ui,
    (recipe, id, width, light, night): &(Recipe, String, usize, bool, bool),
) -> Option<TextureHandle> {
    let picture = key::preview(recipe, recipe.rendition(id)?, *width, *light)?;
    let rgba: Vec<u8> = picture
        .rgb
        .chunks_exact(3)
        .flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255])
        .collect();
    let rgba = if *night { in_red(&rgba) } else { rgba };
    let image = ColorImage::from_rgba_unmultiplied(picture.size, &rgba);
    Some(ui.load_texture("key preview", image, TextureOptions::LINEAR))
}
