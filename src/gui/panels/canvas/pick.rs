//! Something in the picture is to be pointed at: a star, or a patch.

use egui::{
    CursorIcon, Id, PointerButton, Pos2, Rect, Response, Stroke, StrokeKind, Ui, pos2, vec2,
};

use super::geometry::Mapping;
use super::overlays;
use crate::engine::frame::Size;
use crate::gui::asks::{Ask, Asks};
use crate::gui::state::{Picking, State};
use crate::gui::widgets::form;
use crate::gui::words::sentence;
use crate::work::balance::BalanceBy;

/// How far about the pointer a star is ringed, points.
const RING: f32 = 9.0;

impl Picking {
    /// What the user is to do.
    fn words(self) -> &'static str {
        match self {
            Self::Star => "Click a star that is to be white",
            Self::Patch => "Drag over a part that is to be grey",
        }
    }
}

/// Takes the pointer while something is picked; `map` is that of the pane which
/// the pointer is over, `rect` the whole canvas.
pub fn show(
    ui: &mut Ui,
    state: &State,
    picking: Picking,
    (response, rect): (&Response, Rect),
    (map, size): (Mapping, Size),
    asks: &mut Asks,
) {
    let ppp = ui.pixels_per_point();
    let physical = |p: Pos2| [f64::from(p.x * ppp), f64::from(p.y * ppp)];
    if response.hovered() || response.dragged() {
        ui.ctx().set_cursor_icon(CursorIcon::Crosshair);
    }
    let pointer = response.interact_pointer_pos().or(response.hover_pos());
    let stroke = Stroke::new(1.5, state.theme.colors().accent);
    let painter = ui.painter().with_clip_rect(rect);
    match picking {
        Picking::Star => {
            if let Some(pointer) = pointer {
                painter.circle_stroke(pointer, RING, stroke);
            }
            if response.clicked_by(PointerButton::Primary)
                && let Some(pointer) = pointer
            {
                let at = physical(pointer);
                match map.pixel(at, size) {
                    // Corners count from 0 on the screen, centres in the recipe.
                    Some(_) => {
                        let place = [0, 1].map(|i| (at[i] - map.origin[i]) / map.zoom - 0.5);
                        asks.push(Ask::Balance(BalanceBy::Star(place)));
                    }
                    None => asks.push(Ask::Say("That is beside the picture".to_owned())),
                }
            }
        }
        Picking::Patch => {
            let key = Id::unique("patch begins");
            if response.drag_started_by(PointerButton::Primary) {
                let from = ui.input(|input| input.pointer.press_origin());
                if let Some(from) = from.or(pointer) {
                    ui.data_mut(|data| data.insert_temp(key, from));
                }
            }
            let from: Option<Pos2> = ui.data(|data| data.get_temp(key));
            if let (Some(from), Some(to)) = (from, pointer) {
                let drawn = Rect::from_two_pos(from, to);
                painter.rect_stroke(drawn, 0.0, stroke, StrokeKind::Middle);
                if response.drag_stopped() {
                    ui.data_mut(|data| data.remove::<Pos2>(key));
                    match patch(map, size, physical(drawn.min), physical(drawn.max)) {
                        Some(patch) => asks.push(Ask::Balance(BalanceBy::Patch(patch))),
                        None => asks.push(Ask::Say("That is beside the picture".to_owned())),
                    }
                }
            }
            if response.clicked() {
                let words = "Hold the button down and drag over a part of the picture";
                asks.push(Ask::Say(words.to_owned()));
            }
        }
    }
    banner(ui, state, picking, rect, asks);
}

fn banner(ui: &mut Ui, state: &State, picking: Picking, rect: Rect, asks: &mut Asks) {
    let size = vec2((rect.width() - 16.0).min(400.0), 34.0);
    let place = Rect::from_min_size(pos2(rect.left() + 8.0, rect.top() + 8.0), size);
    overlays::plate(ui, state, place, |ui| {
        ui.vertical(|ui| {
            ui.horizontal(|ui| {
                ui.add(egui::Label::new(picking.words()).truncate());
                let leave = ui
                    .button("Leave it")
                    .on_hover_text("Nothing is changed (Esc)");
                if leave.clicked() {
                    asks.push(Ask::Pick(None));
                }
            });
            if let Some((what, hint)) = &state.picking_problem {
                let error = state.theme.colors().error;
                form::problem(ui, error, &sentence(what), &sentence(hint));
            }
        });
    });
}

/// The pixels between two corners on the screen that belong to the picture:
/// first column and row, width and height. None where there are none.
pub fn patch(map: Mapping, size: Size, min: [f64; 2], max: [f64; 2]) -> Option<[usize; 4]> {
    let lengths = [size.width as f64, size.height as f64];
    let span = |i: usize| {
        let at = |v: f64| ((v - map.origin[i]) / map.zoom).clamp(0.0, lengths[i]);
        let (from, to) = (at(min[i]).floor(), at(max[i]).ceil());
        (to - from >= 1.0).then_some([from as usize, (to - from) as usize])
    };
    let ([x, width], [y, height]) = (span(0)?, span(1)?);
    Some([x, y, width, height])
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: Size = Size {
        width: 100,
        height: 80,
    };

    #[test]
    fn a_patch_holds_the_pixels_it_touches_inside_the_picture() {
        let map = Mapping {
            origin: [10.0, 20.0],
            zoom: 2.0,
        };
        // Columns (31 - 10) / 2 = 10.5 to 15.5: pixels 10 to 15.
        let found = patch(map, SIZE, [31.0, 40.0], [41.0, 60.0]);
        assert_eq!(found, Some([10, 10, 6, 10]));
        let over = patch(map, SIZE, [-500.0, -500.0], [500.0, 500.0]);
        assert_eq!(over, Some([0, 0, 100, 80]));
        assert_eq!(patch(map, SIZE, [-50.0, 0.0], [5.0, 60.0]), None);
    }
}
