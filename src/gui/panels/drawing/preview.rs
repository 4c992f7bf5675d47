//! The key as it will be, small.

use egui::{ColorImage, Id, Image, TextureHandle, TextureOptions, Ui, vec2};

use super::DrawingDraft;
use crate::engine::recipe::Recipe;
use crate::gui::panels::canvas::pictures::in_red;
use crate::gui::state::State;
use crate::gui::theme::Theme;
use crate::work::key::scene::Setting;
use crate::work::key::{self, Place};

// What was drawn last, and of what.
#[derive(Clone)]
struct Drawn {
    of: Of,
    texture: Option<TextureHandle>,
}

#[derive(Clone, PartialEq)]
struct Of {
    recipe: Recipe,
    rendition: String,
    width_px: usize,
    light: bool,
    setting: Setting,
    night: bool,
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &DrawingDraft) {
    let Some(id) = draft.renditions.first() else {
        return;
    };
    ui.add_space(4.0);
    let points = ui.available_width();
    let of = Of {
        recipe: state.recipe().clone(),
        rendition: id.clone(),
        width_px: (points * ui.ctx().pixels_per_point()).round() as usize,
        light: draft.light,
        setting: match draft.place {
            None | Some(Place::Below) => Setting::Alone,
            Some(_) => Setting::OnPicture,
        },
        night: state.theme == Theme::Night,
    };
    let memory = Id::unique("key preview");
    let known = ui.data(|data| data.get_temp::<Drawn>(memory));
    let drawn = known.filter(|drawn| drawn.of == of).unwrap_or_else(|| {
        let texture = texture(ui, &of);
        let drawn = Drawn { of, texture };
        ui.data_mut(|data| data.insert_temp(memory, drawn.clone()));
        drawn
    });
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
}

fn texture(ui: &Ui, of: &Of) -> Option<TextureHandle> {
    let rendition = of.recipe.rendition(&of.rendition)?;
    let picture = key::preview(&of.recipe, rendition, of.width_px, of.light, of.setting)?;
    let rgba: Vec<u8> = picture
        .rgb
        .chunks_exact(3)
        .flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255])
        .collect();
    let rgba = if of.night { in_red(&rgba) } else { rgba };
    let image = ColorImage::from_rgba_unmultiplied(picture.size, &rgba);
    Some(ui.load_texture("key preview", image, TextureOptions::LINEAR))
}
