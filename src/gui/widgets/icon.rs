//! Small drawn signs: no glyph of any font is needed for them.

use egui::{Color32, Painter, Pos2, Rect, Response, Sense, Stroke, Ui, Vec2, WidgetInfo, vec2};

/// Which sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Icon {
    /// Visible.
    Eye,
    /// Not visible.
    EyeClosed,
    /// Close, dismiss, stop.
    Cross,
    /// Add.
    Plus,
    /// Anchor of the others: the reference.
    Pin,
    /// More below.
    Down,
    /// Put back as it was.
    Reset,
    /// This one alone.
    Alone,
    /// Needs a look.
    Warning,
}

/// A small button with a sign, called `name` for screen readers and in its
/// tooltip; `on` draws it in the accent.
pub fn button(ui: &mut Ui, icon: Icon, name: &str, on: bool) -> Response {
    let (rect, response) = ui.allocate_exact_size(Vec2::splat(22.0), Sense::click());
    response.widget_info(|| WidgetInfo::selected(egui::Role::Button, ui.is_enabled(), on, name));
    if ui.is_rect_visible(rect) {
        let visuals = ui.style().interact(&response);
        if on {
            // Told by its ground as well as by its colour.
            let ground = ui.visuals().hyperlink_color.gamma_multiply(0.22);
            ui.painter().rect_filled(rect, 4.0, ground);
        } else if response.hovered() || response.has_focus() {
            ui.painter().rect_filled(rect, 4.0, visuals.weak_bg_fill);
        }
        let color = if on {
            ui.visuals().hyperlink_color
        } else {
            visuals.fg_stroke.color
        };
        paint(ui.painter(), icon, rect.shrink(5.0), color);
        if response.has_focus() {
            ui.painter().rect_stroke(
                rect,
                4.0,
                Stroke::new(1.0, ui.visuals().hyperlink_color),
                egui::StrokeKind::Inside,
            );
        }
    }
    response.on_hover_text(name)
}

/// Paints a sign into a rectangle.
pub fn paint(painter: &Painter, icon: Icon, rect: Rect, color: Color32) {
    let stroke = Stroke::new(1.5, color);
    let at = |x: f32, y: f32| -> Pos2 { rect.min + vec2(x * rect.width(), y * rect.height()) };
    let line = |points: &[(f32, f32)]| {
        let points = points.iter().map(|(x, y)| at(*x, *y)).collect();
        painter.line(points, stroke);
    };
    match icon {
        Icon::Eye | Icon::EyeClosed => {
            let lid = |sign: f32| -> Vec<Pos2> {
                (0..=12)
                    .map(|i| {
                        let x = i as f32 / 12.0;
                        at(x, 0.5 - sign * 1.5 * x * (1.0 - x))
                    })
                    .collect()
            };
            painter.line(lid(-1.0), stroke);
            if icon == Icon::Eye {
                painter.line(lid(1.0), stroke);
                painter.circle_filled(at(0.5, 0.5), rect.width() * 0.17, color);
            }
        }
        Icon::Cross => {
            line(&[(0.1, 0.1), (0.9, 0.9)]);
            line(&[(0.9, 0.1), (0.1, 0.9)]);
        }
        Icon::Plus => {
            line(&[(0.5, 0.0), (0.5, 1.0)]);
            line(&[(0.0, 0.5), (1.0, 0.5)]);
        }
        Icon::Pin => {
            painter.circle_stroke(at(0.5, 0.35), rect.width() * 0.3, stroke);
            line(&[(0.5, 0.65), (0.5, 1.0)]);
        }
        Icon::Down => line(&[(0.15, 0.35), (0.5, 0.7), (0.85, 0.35)]),
        Icon::Reset => {
            let arc = (0..=16)
                .map(|i| {
                    let angle = 0.6 + i as f32 / 16.0 * 5.0;
                    rect.center()
                        + vec2(libm::sinf(angle), -libm::cosf(angle)) * rect.width() * 0.42
                })
                .collect();
            painter.line(arc, stroke);
            line(&[(0.45, -0.05), (0.72, 0.14), (0.5, 0.38)]);
        }
        Icon::Alone => {
            painter.circle_stroke(rect.center(), rect.width() * 0.46, stroke);
            painter.circle_filled(rect.center(), rect.width() * 0.2, color);
        }
        Icon::Warning => {
            line(&[(0.5, 0.0), (1.0, 0.95), (0.0, 0.95), (0.5, 0.0)]);
            line(&[(0.5, 0.35), (0.5, 0.65)]);
            painter.circle_filled(at(0.5, 0.8), 1.0, color);
        }
    }
}
