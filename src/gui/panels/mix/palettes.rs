//! Palettes, each with a small picture of this very field.

use egui::{
    Align2, Button, Color32, FontId, Id, Label, Rect, RichText, Role, Sense, Stroke, StrokeKind,
    TextEdit, Ui, UiBuilder, WidgetInfo, pos2, vec2,
};

use crate::engine::palettes::{Palette, built_in, measured, of_rendition};
use crate::engine::recipe::{Recipe, Rendition};
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::State;
use crate::gui::widgets::form;
use crate::gui::widgets::icon::{self, Icon};
use crate::work::{describe, mixing};

/// The id of the rendition that a small picture shows.
pub const THUMBNAIL: &str = "thumbnail";

const LEAST_WIDTH: f32 = 84.0;
const NAME: f32 = 24.0;

// The user's own go before ours of the same name.
fn all(state: &State) -> impl Iterator<Item = (&Palette, bool)> {
    let mine = |name: &str| {
        state
            .own_palettes
            .iter()
            .any(|own| own.name.to_lowercase() == name.to_lowercase())
    };
    state
        .own_palettes
        .iter()
        .map(|palette| (palette, true))
        .chain(
            built_in()
                .iter()
                .filter(move |palette| !mine(&palette.name))
                .map(|palette| (palette, false)),
        )
}

/// The small pictures that are wanted: a palette's name, and a recipe whose
/// first rendition (called [`THUMBNAIL`]) is to be drawn.
pub fn wanted(state: &State) -> Vec<(String, Recipe)> {
    if state.recipe().channels.is_empty() {
        return Vec::new();
    }
    all(state)
        .filter_map(|(palette, _)| {
            let recipe = mixing::sampled(state.recipe(), palette, THUMBNAIL).ok()?;
            Some((palette.name.clone(), recipe))
        })
        .collect()
}

pub(super) fn show(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let recipe = state.recipe();
    let mut fitting = Vec::new();
    let mut unfit = Vec::new();
    for (palette, own) in all(state) {
        match mixing::sampled(recipe, palette, THUMBNAIL) {
            Ok(sample) => fitting.push((palette, own, sample)),
            Err(error) => unfit.push((palette, own, error)),
        }
    }
    let gap = 6.0;
    let columns = ((ui.available_width() + gap) / (LEAST_WIDTH + gap))
        .floor()
        .max(1.0);
    let width = ((ui.available_width() - gap * (columns - 1.0)) / columns).floor();
    for row in fitting.chunks(columns as usize) {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = gap;
            for (palette, own, sample) in row {
                card(ui, state, rendition, (palette, *own), sample, width, asks);
            }
        });
        for (palette, ..) in row {
            question(ui, state, palette, asks);
        }
    }
    save(ui, state, rendition, asks);
    if let Some((what, hint)) = &state.palette_problem {
        form::problem(ui, state.theme.colors().error, what, hint);
    }
    if !unfit.is_empty() {
        left_over(ui, state, &unfit, asks);
    }
}

fn about(palette: &Palette, own: bool) -> String {
    let mut text = palette.name.clone();
    if own {
        text.push_str(" (yours)");
    }
    if !palette.about.is_empty() {
        text.push_str(&format!("\n{}", palette.about));
    }
    if let Some(apart) = palette.apart.or_else(|| measured::apart(palette)) {
        text.push_str(&format!(
            "\nThe nearest two of its lines lie apart (CIEDE2000)\n\
             {:.0}  with usual colour vision\n{:.0}  without red cones\n\
             {:.0}  without green cones\n{:.0}  without blue cones",
            apart.usual, apart.protan, apart.deutan, apart.tritan
        ));
    }
    text
}

fn card(
    ui: &mut Ui,
    state: &State,
    rendition: &Rendition,
    (palette, own): (&Palette, bool),
    sample: &Recipe,
    width: f32,
    asks: &mut Asks,
) {
    let colors = state.theme.colors();
    let size = vec2(width, (width / 1.6).floor() + NAME);
    let (rect, response) = ui.allocate_exact_size(size, Sense::click());
    let on = mixing::is_painted(state.recipe(), rendition, palette);
    let called = format!("Palette {}", palette.name);
    let enabled = ui.is_enabled();
    response.widget_info(|| WidgetInfo::selected(Role::Button, enabled, on, &called));
    let picture = Rect::from_min_max(rect.min, pos2(rect.max.x, rect.max.y - NAME));
    if ui.is_rect_visible(rect) {
        ui.painter().rect_filled(rect, 5.0, colors.card);
        match state.thumbnails.get(&palette.name) {
            Some(texture) => paint_picture(ui, state, texture, picture),
            None => paint_placeholder(ui, state, sample, picture),
        }
        let stroke = if on || response.has_focus() {
            Stroke::new(2.0, colors.accent)
        } else if response.hovered() {
            Stroke::new(1.0, colors.faint)
        } else {
            Stroke::new(1.0, colors.line)
        };
        ui.painter()
            .rect_stroke(rect, 5.0, stroke, StrokeKind::Inside);
    }
    let foot = Rect::from_min_max(pos2(rect.min.x + 6.0, picture.max.y), rect.max);
    let name_rect = foot.with_max_x(foot.max.x - 4.0);
    let color = if on { colors.accent } else { colors.text };
    elided(ui, &palette.name, name_rect, color);
    let response = response.on_hover_ui(|ui| {
        ui.label(about(palette, own));
    });
    if response.clicked()
        && let Ok(recipe) = mixing::painted(state.recipe(), &rendition.id, palette)
    {
        asks.edit(format!("Palette {}", palette.name), recipe);
    }
    on_top(ui, state, (palette, own), rect, asks);
}

// The small buttons over a picture: seen while the pointer or the focus is there.
fn on_top(
    ui: &mut Ui,
    state: &State,
    (palette, own): (&Palette, bool),
    card: Rect,
    asks: &mut Asks,
) {
    let count = if own { 2.0 } else { 1.0 };
    let place = Rect::from_min_size(
        pos2(card.max.x - 22.0 * count - 3.0, card.min.y + 3.0),
        vec2(22.0 * count, 22.0),
    );
    let backdrop = ui.painter().add(egui::Shape::Noop);
    let mut focus = false;
    let shown = ui.rect_contains_pointer(card);
    // A child of its own: the row of cards goes on after the card.
    let layout = egui::Layout::left_to_right(egui::Align::Center);
    let mut over = ui.new_child(UiBuilder::new().max_rect(place).layout(layout));
    {
        let ui = &mut over;
        {
            ui.spacing_mut().item_spacing.x = 0.0;
            let ids = Id::unique(("over the card", &palette.name));
            let focused = ui.data(|data| data.get_temp::<bool>(ids)).unwrap_or(false);
            if !shown && !focused {
                ui.set_opacity(0.0);
            }
            let name = format!("New rendition from {}", palette.name);
            let add = icon::button(ui, Icon::Plus, &name, false);
            focus |= add.has_focus();
            if add.clicked()
                && let Ok((recipe, id)) = mixing::with_palette(state.recipe(), palette)
            {
                asks.edit(format!("Rendition {id}"), recipe);
                asks.push(Ask::ShowRendition(id));
            }
            if own {
                focus |= remove_button(ui, palette);
            }
            ui.data_mut(|data| data.insert_temp(ids, focus));
        }
    }
    if shown || focus {
        let fill = state.theme.colors().card.gamma_multiply(0.9);
        ui.painter()
            .set(backdrop, egui::Shape::rect_filled(place, 4.0, fill));
    }
}

fn elided(ui: &Ui, text: &str, rect: Rect, color: Color32) {
    let mut job = egui::text::LayoutJob::single_section(
        text.to_owned(),
        egui::TextFormat::simple(FontId::proportional(12.5), color),
    );
    job.wrap = egui::text::TextWrapping::truncate_at_width(rect.width());
    let galley = ui.fonts_mut(|fonts| fonts.layout_job(job));
    let at = Align2::LEFT_CENTER.align_size_within_rect(galley.size(), rect);
    ui.painter().galley(at.min, galley, color);
}

fn paint_picture(ui: &Ui, state: &State, texture: &egui::TextureHandle, rect: Rect) {
    let rect = rect.shrink(1.0);
    let size = texture.size_vec2().max(vec2(1.0, 1.0));
    // The middle of the picture fills the card.
    let scale = (rect.width() / size.x).max(rect.height() / size.y);
    let part = vec2(
        rect.width() / (size.x * scale),
        rect.height() / (size.y * scale),
    );
    let uv = Rect::from_center_size(pos2(0.5, 0.5), part);
    let tint = form::shade(state.theme, Color32::WHITE);
    ui.painter().image(texture.id(), rect, uv, tint);
}

// The palette's colours, until its picture is there.
fn paint_placeholder(ui: &Ui, state: &State, sample: &Recipe, rect: Rect) {
    let colors = state.theme.colors();
    ui.painter().rect_filled(rect.shrink(1.0), 4.0, colors.well);
    let Some(rendition) = sample.renditions.first() else {
        return;
    };
    let dots: Vec<Color32> = sample
        .channels
        .iter()
        .filter_map(|channel| {
            let value = rendition.colors.get(&channel.id)?;
            let hex = describe::css(mixing::numbers(value, channel)?);
            Color32::from_hex(&hex).ok()
        })
        .collect();
    let step = (rect.width() / (dots.len() as f32 + 1.0)).min(20.0);
    let first = rect.center().x - step * (dots.len().saturating_sub(1)) as f32 / 2.0;
    for (index, color) in dots.iter().enumerate() {
        let at = pos2(first + step * index as f32, rect.center().y);
        ui.painter()
            .circle_filled(at, step * 0.32, form::shade(state.theme, *color));
    }
}

fn removing(ui: &Ui) -> Option<String> {
    ui.data(|data| data.get_temp(Id::unique("palette to remove")))
}

fn set_removing(ui: &Ui, name: Option<String>) {
    let id = Id::unique("palette to remove");
    ui.data_mut(|data| match name {
        Some(name) => {
            data.insert_temp(id, name);
        }
        None => data.remove::<String>(id),
    });
}

// The result: whether it has the focus.
fn remove_button(ui: &mut Ui, palette: &Palette) -> bool {
    let response = icon::button(ui, Icon::Cross, &format!("Remove {}", palette.name), false);
    if response.clicked() {
        set_removing(ui, Some(palette.name.clone()));
    }
    response.has_focus()
}

// Asked in place before one's own palette goes.
fn question(ui: &mut Ui, state: &State, palette: &Palette, asks: &mut Asks) {
    let name = &palette.name;
    let own = state.own_palettes.iter().any(|own| own.name == *name);
    if !own || removing(ui).as_ref() != Some(name) {
        return;
    }
    let colors = state.theme.colors();
    form::problem(
        ui,
        colors.warning,
        &format!("Remove your palette \"{name}\" for good?"),
        "Recipes that use it keep their colours.",
    );
    ui.horizontal(|ui| {
        if ui.button("Remove it").clicked() {
            asks.push(Ask::RemovePalette(name.clone()));
            set_removing(ui, None);
        }
        if ui.button("Keep it").clicked() {
            set_removing(ui, None);
        }
    });
}

fn save(ui: &mut Ui, state: &State, rendition: &Rendition, asks: &mut Asks) {
    let id = Id::unique("name of my palette");
    let Some(mut name) = ui.data(|data| data.get_temp::<String>(id)) else {
        let button = ui
            .button("Save as my palette ...")
            .on_hover_text("Keep the colours of this rendition for other fields");
        if button.clicked() {
            ui.data_mut(|data| data.insert_temp(id, rendition.id.clone()));
            ui.memory_mut(|memory| memory.request_focus(id.with("field")));
        }
        return;
    };
    let made = of_rendition(state.recipe(), rendition, &name);
    let mut done = false;
    let field = ui
        .add(
            TextEdit::singleline(&mut name)
                .id(id.with("field"))
                .desired_width(f32::INFINITY)
                .hint_text("A name, such as dusk"),
        )
        .accessible_name("Name of my palette");
    let entered = field.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Enter));
    let given_up = field.lost_focus() && ui.input(|input| input.key_pressed(egui::Key::Escape));
    if let Err(error) = &made {
        form::problem(
            ui,
            state.theme.colors().error,
            "This name cannot be shown.",
            &error.hint,
        );
    } else if let Some(old) =
        all(state).find(|(palette, _)| palette.name.to_lowercase() == name.trim().to_lowercase())
    {
        let what = if old.1 {
            "Your palette of this name will be replaced."
        } else {
            "It will stand in place of ours of this name."
        };
        form::problem(ui, state.theme.colors().warning, what, "");
    }
    ui.horizontal(|ui| {
        let saved = ui
            .add_enabled(made.is_ok(), Button::new("Save palette"))
            .clicked();
        if let (true, Ok(palette)) = (saved || entered, made) {
            asks.push(Ask::SavePalette(Box::new(palette)));
            done = true;
        }
        done |= ui.button("Cancel").clicked() || given_up;
    });
    ui.data_mut(|data| {
        if done {
            data.remove::<String>(id);
        } else {
            data.insert_temp(id, name);
        }
    });
}

type Unfit<'a> = (&'a Palette, bool, crate::engine::palettes::PaletteError);

fn left_over(ui: &mut Ui, state: &State, unfit: &[Unfit<'_>], asks: &mut Asks) {
    let faint = state.theme.colors().faint;
    ui.add_space(4.0);
    ui.label(RichText::new("Not for these channels").color(faint));
    for (palette, own, error) in unfit {
        ui.horizontal_top(|ui| {
            ui.spacing_mut().item_spacing.x = 6.0;
            let reason = error
                .message
                .strip_prefix(&format!("{}: ", palette.name))
                .unwrap_or(&error.message);
            let cross = if *own { 28.0 } else { 0.0 };
            form::word(ui, 64.0, RichText::new(&palette.name).small().color(faint))
                .on_hover_text(&palette.name);
            let width = ui.available_width() - cross;
            ui.allocate_ui(vec2(width, 0.0), |ui| {
                ui.set_min_width(width);
                ui.add_space(3.0);
                ui.add(Label::new(RichText::new(reason).small().color(faint)).wrap())
                    .on_hover_text(format!("{error}\n{}", error.hint));
            });
            if *own {
                remove_button(ui, palette);
            }
        });
        question(ui, state, palette, asks);
    }
}
