//! A channel's card: what it is, how good it is, how it is stretched.

use std::sync::Arc;

use egui::{
    Color32, FontId, Rect, Response, RichText, Sense, Stroke, Ui, UiBuilder, WidgetInfo, pos2, vec2,
};

use super::stretch::{self, Work};
use super::{elide, facts, head, more, plot};
use crate::engine::recipe::Channel;
use crate::gui::asks::{Ask, Asks};
use crate::gui::names;
use crate::gui::panels::canvas::probe::{figures, plus_minus};
use crate::gui::state::State;
use crate::gui::theme::bold;
use crate::gui::widgets::icon::{self, Icon};
use crate::io::record::ContinuumEntry;
use crate::work::desk::Layer;

/// Height of a histogram that is only looked at, in points.
const GLANCE: f32 = 44.0;

const SIGNAL: &str = "How far the brightest 1 % of the pixels stand above the sky, \
                      in units of one pixel's noise";

const ALIGNMENT: &str =
    "How it came onto the reference's grid; the residual is the root mean square";

/// Shows the card; `hue` is None where the shown rendition leaves the channel out.
pub fn show(ui: &mut Ui, state: &State, asks: &mut Asks, channel: &Channel, hue: Option<Color32>) {
    let selected = state.selected.as_deref() == Some(channel.id.as_str());
    let colors = state.theme.colors();
    let title = names::of(state.recipe(), channel);
    let layer = state.layers.get(&channel.id);
    let mut frame = head::frame(state);
    if selected {
        frame = frame.stroke(Stroke::new(1.5, colors.accent));
    }
    // A click anywhere on the card that nothing else takes; keys have the name.
    let builder = UiBuilder::new()
        .id_salt(("card", &channel.id))
        .sense(Sense::CLICK);
    let card = ui.scope_builder(builder, |ui| {
        frame.show(ui, |ui| {
            ui.set_width(ui.available_width());
            first_row(ui, state, asks, channel, &title, hue);
            words(ui, state, asks, channel, &title, layer);
            match layer {
                Some(layer) if selected => {
                    let work = Work {
                        state,
                        channel,
                        layer,
                        title: title.clone(),
                        hue,
                    };
                    ui.add_space(2.0);
                    stretch::show(ui, asks, &work);
                }
                Some(layer) => glance(ui, state, channel, layer, hue),
                None => absent(ui, state, channel),
            }
        });
    });
    if card.response.clicked() && !selected {
        asks.push(Ask::Select(Some(channel.id.clone())));
    }
}

fn first_row(
    ui: &mut Ui,
    state: &State,
    asks: &mut Asks,
    channel: &Channel,
    title: &str,
    hue: Option<Color32>,
) {
    let id = &channel.id;
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 1.0;
        let width = ui.available_width() - 4.0 * 23.0;
        let selected = state.selected.as_deref() == Some(id.as_str());
        let (rect, name) = ui.allocate_exact_size(vec2(width.max(40.0), 22.0), Sense::click());
        name.widget_info(|| {
            WidgetInfo::selected(egui::Role::Button, ui.is_enabled(), selected, title)
        });
        paint_name(ui, state, channel, rect, &name, hue);
        if name.on_hover_text(&channel.file).clicked() {
            asks.push(Ask::Select((!selected).then(|| id.clone())));
        }
        let reference = state.recipe().reference().is_some_and(|one| one.id == *id);
        let text = if reference {
            format!("{title} is the reference")
        } else {
            format!("Make {title} the reference")
        };
        if icon::button(ui, Icon::Pin, &text, reference).clicked() && !reference {
            let mut recipe = state.recipe().clone();
            recipe.reference = Some(id.clone());
            asks.edit(format!("Reference {title}"), recipe);
        }
        let alone = state.solo.as_deref() == Some(id.as_str());
        let text = if alone {
            "Show all channels again".to_owned()
        } else {
            format!("Show {title} alone")
        };
        if icon::button(ui, Icon::Alone, &text, alone).clicked() {
            asks.push(Ask::Solo((!alone).then(|| id.clone())));
        }
        let hidden = state.hidden.contains(id);
        let (sign, text) = if hidden {
            (Icon::EyeClosed, format!("Show {title} again"))
        } else {
            (Icon::Eye, format!("Hide {title}"))
        };
        if icon::button(ui, sign, &text, hidden).clicked() {
            asks.push(Ask::Hide {
                channel: id.clone(),
                hidden: !hidden,
            });
        }
        more::show(ui, state, asks, channel, title);
    });
}

fn paint_name(
    ui: &Ui,
    state: &State,
    channel: &Channel,
    rect: Rect,
    response: &Response,
    hue: Option<Color32>,
) {
    let colors = state.theme.colors();
    let painter = ui.painter().with_clip_rect(rect.expand(2.0));
    if response.has_focus() {
        let stroke = Stroke::new(1.0, colors.accent);
        painter.rect_stroke(rect, 4.0, stroke, egui::StrokeKind::Outside);
    }
    let middle = rect.center().y;
    let spot = pos2(rect.left() + 7.0, middle);
    match hue {
        Some(color) => {
            painter.circle(spot, 6.5, color, Stroke::new(1.0, colors.line));
        }
        // Left out of the rendition: a ring.
        None => {
            painter.circle_stroke(spot, 6.0, Stroke::new(1.5, colors.faint));
        }
    }
    let hidden = state.hidden.contains(&channel.id);
    let color = if hidden { colors.faint } else { colors.text };
    let name = painter.layout_no_wrap(names::symbol(channel), FontId::new(14.5, bold()), color);
    let left = rect.left() + 21.0;
    let wide = name.size().x;
    painter.galley(
        pos2(left, middle - name.size().y / 2.0),
        Arc::clone(&name),
        color,
    );
    let room = rect.right() - left - wide - 8.0;
    if let Some(id) = facts::own_id(channel).filter(|_| room > 20.0) {
        let font = FontId::proportional(12.0);
        let id = elide::middle(ui, id, &font, room);
        let id = painter.layout_no_wrap(id, font, colors.faint);
        let at = pos2(left + wide + 7.0, middle - id.size().y / 2.0 + 1.0);
        painter.galley(at, id, colors.faint);
    }
}

fn words(
    ui: &mut Ui,
    state: &State,
    asks: &mut Asks,
    channel: &Channel,
    title: &str,
    layer: Option<&Arc<Layer>>,
) {
    let colors = state.theme.colors();
    let quiet = |text: String| RichText::new(text).small().color(colors.faint);
    ui.spacing_mut().item_spacing.y = 3.0;
    let layer = layer.map(Arc::as_ref);
    ui.scope(|ui| {
        ui.spacing_mut().interact_size.y = 16.0;
        ui.spacing_mut().item_spacing = vec2(5.0, 3.0);
        ui.horizontal_wrapped(|ui| {
            ui.label(quiet(facts::light(channel).join(" · ")));
            if let Some((short, whole)) = facts::neighbours(channel) {
                ui.label(RichText::new(short).small().color(colors.warning))
                    .on_hover_text(whole);
            }
        });
        quality(ui, channel, layer, quiet);
        changed(ui, state, channel, quiet);
    });
    if head::needs_prepare(state, &channel.id) {
        another_size(ui, state);
    }
    let Some(layer) = layer else {
        return;
    };
    if let Some(text) = facts::sky(layer) {
        ui.horizontal(|ui| {
            ui.label(quiet(text))
                .on_hover_text("The sky glow that was taken out, highest less lowest");
            let shown = state.view.sky.as_deref() == Some(channel.id.as_str());
            let word = if shown { "Hide" } else { "View" };
            let button = ui
                .add(
                    egui::Button::new(RichText::new(word).small())
                        .selected(shown)
                        .small(),
                )
                .accessible_name(format!("{word} the sky model of {title}"));
            if button.clicked() {
                asks.push(Ask::ShowSky((!shown).then(|| channel.id.clone())));
            }
        });
    }
}

/// What is done to its light before the stretch, as far as anything is.
fn changed(ui: &mut Ui, state: &State, channel: &Channel, quiet: impl Fn(String) -> RichText) {
    let recipe = state.recipe();
    let layer = state.layers.get(&channel.id);
    let taken = layer.and_then(|layer| layer.continuum.as_ref());
    let smoothed = channel
        .denoise
        .filter(|share| *share > 0.0)
        .map(|share| format!("noise smoothed {:.0} %", share * 100.0));
    let out = channel.continuum.as_ref().and_then(|continuum| {
        let broad = names::of(recipe, recipe.channel(&continuum.from)?);
        let fitted = taken.filter(|taken| taken.from == continuum.from && taken.stars.is_some());
        let factor = match continuum.scale {
            Some(scale) => format!(" \u{d7} {}", figures(scale)),
            None => fitted.map_or_else(String::new, |taken| format!(" \u{d7} {}", factor(taken))),
        };
        Some(format!("continuum taken out: {broad}{factor}"))
    });
    let words: Vec<String> = smoothed.into_iter().chain(out).collect();
    if !words.is_empty() {
        ui.label(quiet(words.join(" · ")));
    }
}

/// The factor of a continuum, with its uncertainty where it was fitted.
fn factor(taken: &ContinuumEntry) -> String {
    match taken.uncertainty {
        // Six places hold no smaller one.
        Some(sigma) if sigma > 1e-6 => plus_minus(taken.scale, sigma),
        _ => figures(taken.scale),
    }
}

/// Exposure, signal to noise and alignment in a row, as far as they are known.
fn quality(
    ui: &mut Ui,
    channel: &Channel,
    layer: Option<&Layer>,
    quiet: impl Fn(String) -> RichText,
) {
    let known: Vec<(String, &str)> = [
        (facts::exposure(channel, layer), "Total exposure"),
        (layer.and_then(facts::signal), SIGNAL),
        (layer.and_then(facts::alignment), ALIGNMENT),
    ]
    .into_iter()
    .filter_map(|(text, about)| Some((text?, about)))
    .collect();
    if known.is_empty() {
        return;
    }
    ui.horizontal_wrapped(|ui| {
        for (place, (text, about)) in known.into_iter().enumerate() {
            if place > 0 {
                ui.label(quiet("·".to_owned()));
            }
            ui.label(quiet(text)).on_hover_text(about);
        }
    });
}

fn another_size(ui: &mut Ui, state: &State) {
    let text = "Needs Prepare: another size than the reference";
    let color = state.theme.colors().warning;
    ui.label(RichText::new(text).small().color(color));
}

fn glance(ui: &mut Ui, state: &State, channel: &Channel, layer: &Layer, hue: Option<Color32>) {
    let (rect, _) = ui.allocate_exact_size(vec2(ui.available_width(), GLANCE), Sense::hover());
    let view = plot::view(&layer.histogram, &channel.stretch);
    let pair = (layer.histogram.as_ref(), &channel.stretch);
    plot::paint(ui, rect, pair, view, state.theme, hue);
    // Left out for now: it steps back.
    let another_alone = state.solo.as_ref().is_some_and(|solo| *solo != channel.id);
    if state.hidden.contains(&channel.id) || another_alone {
        let veil = state.theme.colors().card.gamma_multiply(0.6);
        ui.painter().rect_filled(rect, 3.0, veil);
    }
}

fn absent(ui: &mut Ui, state: &State, channel: &Channel) {
    let colors = state.theme.colors();
    let about = |job: &&crate::gui::state::Running| job.channel.as_deref() == Some(&channel.id);
    if let Some(job) = state.jobs.iter().find(about) {
        head::progress(ui, state, job.share.clamp(0.0, 1.0));
        ui.label(RichText::new(&job.step).small().color(colors.faint));
    } else if let Some((what, hint)) = state.failures.get(&channel.id) {
        ui.label(RichText::new(what).color(colors.error));
        ui.label(RichText::new(hint).color(colors.faint));
    } else if !head::needs_prepare(state, &channel.id) {
        let text = if state.jobs.is_empty() {
            "Not read yet"
        } else {
            "Waits to be read"
        };
        ui.label(RichText::new(text).small().color(colors.faint));
    }
}
