//! Words and controls that lie over the picture.

use egui::{Align2, Frame, Rect, Stroke, Ui, UiBuilder, pos2, vec2};

use super::geometry::{Pane, scale};
use super::pictures::SHOWN;
use crate::engine::color::vision::Vision;
use crate::engine::frame::Size;
use crate::gui::asks::{Ask, Asks};
use crate::gui::command::Command;
use crate::gui::state::{Place, State, View};

/// Quiet words in the middle of `rect`.
pub fn words(ui: &Ui, state: &State, rect: Rect, text: &str) {
    let font = egui::TextStyle::Body.resolve(ui.style());
    // The canvas is dark in every theme.
    let color = on_canvas(state);
    ui.painter()
        .text(rect.center(), Align2::CENTER_CENTER, text, font, color);
}

fn on_canvas(state: &State) -> egui::Color32 {
    match state.theme {
        crate::gui::theme::Theme::Night => state.theme.colors().faint,
        _ => crate::gui::theme::Theme::Dark.colors().faint,
    }
}

/// A name on a plate in a corner of `side`; left out where the side is narrow.
pub fn tag(ui: &Ui, state: &State, side: Rect, align: Align2, name: &str) {
    let colors = state.theme.colors();
    let room = side.width() - 32.0;
    if room < 24.0 {
        return;
    }
    let font = egui::TextStyle::Small.resolve(ui.style());
    let mut job = egui::text::LayoutJob::simple_singleline(name.to_owned(), font, colors.text);
    job.wrap = egui::text::TextWrapping::truncate_at_width(room);
    let galley = ui.painter().layout_job(job);
    let anchor = align.pos_in_rect(&side.shrink(8.0));
    let plate = align.anchor_size(anchor, galley.size() + vec2(12.0, 6.0));
    let painter = ui.painter().with_clip_rect(side);
    painter.rect_filled(plate, 4.0, colors.card);
    painter.galley(plate.min + vec2(6.0, 3.0), galley, colors.text);
}

/// Controls on a plate that begins at the upper left corner of `rect`.
pub fn plate(ui: &mut Ui, state: &State, rect: Rect, content: impl FnOnce(&mut Ui)) {
    let colors = state.theme.colors();
    let builder = UiBuilder::new().max_rect(rect);
    ui.scope_builder(builder, |ui| {
        Frame::new()
            .fill(colors.card)
            .corner_radius(4.0)
            .inner_margin(6.0)
            .show(ui, |ui| ui.horizontal(content));
    });
}

/// Where the zoom's buttons lie over a picture's place.
pub fn zoom_plate(rect: Rect) -> Rect {
    Rect::from_min_max(
        pos2(rect.right() - 246.0, rect.bottom() - 42.0),
        rect.max - vec2(8.0, 8.0),
    )
}

/// Scale and zoom, marks, vision, sky model.
pub fn show(
    ui: &mut Ui,
    state: &State,
    rect: Rect,
    pane: Pane,
    place: Place,
    size: Size,
    asks: &mut Asks,
) {
    let zoom = zoom_plate(rect);
    let centre = [0, 1].map(|i| pane.min[i] + pane.size[i] / 2.0);
    plate(ui, state, zoom, |ui| {
        let mut go = |place: Option<Place>| {
            asks.push(Ask::View(View {
                place,
                ..state.view.clone()
            }));
        };
        ui.spacing_mut().item_spacing.x = 6.0;
        if ui.button("Fit").clicked() {
            go(None);
        }
        if ui.button("100 %").clicked() {
            go(Some(pane.zoomed(place, centre, 1.0 / place.zoom, size)));
        }
        for (sign, name, factor) in [("-", "Smaller", 0.5), ("+", "Larger", 2.0)] {
            let response = ui.button(sign).on_hover_text(name);
            response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, name));
            if response.clicked() {
                go(Some(pane.zoomed(place, centre, factor, size)));
            }
        }
        ui.label(scale(place.zoom))
            .on_hover_text("Screen pixels : pixels of the picture");
    });
    let mut lines: Vec<String> = Vec::new();
    if state.view.before_noise {
        lines.push("Without noise reduction (B brings it back)".into());
    }
    match state.view.vision {
        Vision::Usual => {}
        Vision::Protan => lines.push("Seen without red cones (simulated)".into()),
        Vision::Deutan => lines.push("Seen without green cones (simulated)".into()),
        Vision::Tritan => lines.push("Seen without blue cones (simulated)".into()),
    }
    if let (true, Some(shown)) = (state.view.marks, state.pictures.shown(SHOWN)) {
        lines.push(format!(
            "At full scale {:.2} %, outside the output space {:.2} %",
            shown.picture.clipped * 100.0,
            shown.picture.outside * 100.0
        ));
    }
    let mut foot = rect;
    for line in lines {
        // Above the zoom plate, so that they never meet.
        foot.max.y = foot.max.y.min(rect.bottom() - 42.0);
        tag(ui, state, foot, Align2::LEFT_BOTTOM, &line);
        foot.max.y -= 26.0;
    }
    if let Some(channel) = &state.view.sky {
        let banner =
            Rect::from_min_size(rect.min + vec2(8.0, 8.0), vec2(rect.width() - 16.0, 34.0));
        plate(ui, state, banner, |ui| {
            ui.label(format!("Sky model of {channel}"));
            if ui.button("Back to the picture").clicked() {
                asks.push(Ask::ShowSky(None));
            }
        });
    }
}

/// What the shades of a difference mean, and the difference that is white.
pub fn difference(ui: &mut Ui, state: &State, rect: Rect, asks: &mut Asks) {
    let place = Rect::from_min_size(rect.min + vec2(8.0, 8.0), vec2(330.0, 34.0));
    plate(ui, state, place, |ui| {
        ui.label("CIEDE2000   0");
        let (bar, _) = ui.allocate_exact_size(vec2(100.0, 12.0), egui::Sense::hover());
        let is_night = state.theme == crate::gui::theme::Theme::Night;
        let shades = 50;
        for i in 0..shades {
            let level = (i * 255 / (shades - 1)) as u8;
            let rest = if is_night { 0 } else { level };
            let color = egui::Color32::from_rgb(level, rest, rest);
            let width = bar.width() / shades as f32;
            let min = bar.min + vec2(i as f32 * width, 0.0);
            let cell = Rect::from_min_size(min, vec2(width + 0.5, bar.height()));
            ui.painter().rect_filled(cell, 0.0, color);
        }
        let stroke = Stroke::new(1.0, state.theme.colors().line);
        ui.painter()
            .rect_stroke(bar, 0.0, stroke, egui::StrokeKind::Outside);
        let mut full = state.view.difference_full;
        let label = ui.label("white at");
        let drag = egui::DragValue::new(&mut full)
            .range(1.0..=100.0)
            .speed(0.5);
        if ui.add(drag).labelled_by(label.id).changed() {
            asks.push(Ask::View(View {
                difference_full: full,
                ..state.view.clone()
            }));
        }
    });
}

/// Nothing lies on the desk yet.
pub fn empty(ui: &mut Ui, state: &State, rect: Rect, asks: &mut Asks) {
    let color = on_canvas(state);
    let middle = Rect::from_center_size(rect.center(), vec2(rect.width().min(420.0), 240.0));
    ui.scope_builder(UiBuilder::new().max_rect(middle), |ui| {
        ui.vertical_centered(|ui| {
            ui.spacing_mut().item_spacing.y = 8.0;
            ui.heading(egui::RichText::new("Drop narrowband stacks here").color(color));
            ui.colored_label(color, "FITS or TIFF, one file for each filter, or a recipe");
            ui.add_space(6.0);
            for command in [Command::Open, Command::OpenSample] {
                let entry = command.entry();
                if ui.button(entry.name).on_hover_text(entry.about).clicked() {
                    asks.run(command);
                }
            }
            for path in state.recent.iter().take(5) {
                let name = path
                    .file_name()
                    .unwrap_or(path.as_os_str())
                    .to_string_lossy();
                let button = egui::Button::new(name).truncate().frame(false);
                let response = ui.add(button).on_hover_text(path.to_string_lossy());
                if response.clicked() {
                    asks.push(Ask::Open(vec![path.clone()]));
                }
            }
        });
    });
}

/// While files hover over the window.
pub fn drop_target(ui: &Ui, state: &State, rect: Rect) {
    let count = ui.input(|input| input.raw.hovered_files.len());
    if count == 0 {
        return;
    }
    let colors = state.theme.colors();
    let inner = rect.shrink(8.0);
    let painter = ui.painter();
    painter.rect_filled(inner, 6.0, colors.card.gamma_multiply(0.9));
    let stroke = Stroke::new(2.0, colors.accent);
    painter.rect_stroke(inner, 6.0, stroke, egui::StrokeKind::Inside);
    let text = if count == 1 {
        "Drop it to open it".to_owned()
    } else {
        format!("Drop {count} files to open them")
    };
    let font = egui::TextStyle::Heading.resolve(ui.style());
    painter.text(
        inner.center(),
        Align2::CENTER_CENTER,
        text,
        font,
        colors.text,
    );
}
