//! Three short hints at the first start; once read they never come back by
//! themselves.

use egui::{Align2, Area, Frame, Id, Order, RichText, Stroke, Ui, vec2};

use crate::gui::state::State;
use crate::gui::theme::bold;

/// Heading, words, and where it points: horizontal and vertical share of the
/// window.
const HINTS: [(&str, &str, [f32; 2]); 3] = [
    (
        "Stacks come in on the left",
        "Drop your stacked images anywhere, one for each filter. Prepare brings them onto one grid, \
         takes the sky glow out and stretches each.",
        [0.0, 0.35],
    ),
    (
        "The line map decides the colours",
        "Each thread runs from a line's true wavelength to the hue it is shown in. Drag its lower \
         end: the picture follows.",
        [0.5, 1.0],
    ),
    (
        "Compare, then export",
        "Hold the mapped picture against the natural one with the choices above the picture. Export \
         writes a record beside it, so that it can be made again.",
        [1.0, 0.2],
    ),
];

/// What the user did with the hints.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// This one next.
    Show(usize),
    /// No more of them.
    Done,
}

/// Shows the present hint, if any.
pub fn show(ui: &mut Ui, state: &State) -> Option<Answer> {
    let at = state.hint?;
    let (heading, words, [x, y]) = HINTS.get(at)?;
    let colors = state.theme.colors();
    let whole = ui.ctx().content_rect();
    let margin = vec2(310.0, 230.0);
    let inner = egui::Rect::from_min_max(whole.min + vec2(margin.x, 110.0), whole.max - margin);
    let anchor = inner.lerp_inside(vec2(*x, *y));
    let mut answer = None;
    Area::new(Id::unique("hints"))
        .order(Order::Foreground)
        .pivot(Align2([align(*x), align(*y)]))
        .fixed_pos(anchor)
        .show(ui.ctx(), |ui| {
            Frame::new()
                .fill(colors.card)
                .stroke(Stroke::new(1.0, colors.accent))
                .corner_radius(8.0)
                .inner_margin(14.0)
                .show(ui, |ui| {
                    ui.set_width(300.0);
                    ui.label(RichText::new(*heading).family(bold()));
                    ui.label(*words);
                    ui.add_space(6.0);
                    ui.horizontal(|ui| {
                        ui.label(
                            RichText::new(format!("{} of {}", at + 1, HINTS.len()))
                                .small()
                                .color(colors.faint),
                        );
                        ui.with_layout(egui::Layout::right_to_left(egui::Align::Center), |ui| {
                            let last = at + 1 == HINTS.len();
                            let word = if last { "Begin" } else { "Next" };
                            if ui.button(word).clicked() {
                                answer = Some(if last {
                                    Answer::Done
                                } else {
                                    Answer::Show(at + 1)
                                });
                            }
                            if !last && ui.button("Skip the hints").clicked() {
                                answer = Some(Answer::Done);
                            }
                        });
                    });
                });
        });
    answer
}

fn align(share: f32) -> egui::Align {
    match share {
        s if s < 0.3 => egui::Align::Min,
        s if s > 0.7 => egui::Align::Max,
        _ => egui::Align::Center,
    }
}
