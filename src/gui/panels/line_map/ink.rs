//! Colours of light as the screen has them, in each of the looks.

use egui::{Color32, Mesh, Pos2, Rangef, Rect, Shape, pos2};

use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::key::shade::shown;
use crate::gui::theme::Theme;

/// A colour in linear sRGB; at night its luminance in red.
pub fn ink(theme: Theme, linear_srgb: [f64; 3]) -> Color32 {
    let light = shown(linear_srgb);
    let byte = |value: f64| (255.0 * srgb_encode_exact(value.clamp(0.0, 1.0))).round() as u8;
    if theme == Theme::Night {
        let weights = Space::Srgb.luminance_weights();
        let luminance: f64 = light.iter().zip(weights).map(|(c, w)| c * w).sum();
        return Color32::from_rgb(byte(luminance), 0, 0);
    }
    let [r, g, b] = light.map(byte);
    Color32::from_rgb(r, g, b)
}

/// A colour between two.
pub fn between(from: Color32, to: Color32, share: f32) -> Color32 {
    from.lerp_to_gamma(to, share.clamp(0.0, 1.0))
}

/// A strip whose colour is given at each point of the screen from left to right.
pub fn strip(x: Rangef, y: Rangef, steps: usize, color: impl Fn(f32) -> Color32) -> Shape {
    let mut mesh = Mesh::default();
    for step in 0..=steps {
        let share = step as f32 / steps as f32;
        let at = x.min + share * x.span();
        let color = color(share);
        mesh.colored_vertex(pos2(at, y.min), color);
        mesh.colored_vertex(pos2(at, y.max), color);
        if step > 0 {
            let corner = 2 * step as u32;
            mesh.add_triangle(corner - 2, corner - 1, corner);
            mesh.add_triangle(corner - 1, corner, corner + 1);
        }
    }
    Shape::mesh(mesh)
}

/// A rectangle around a point.
pub fn around(middle: Pos2, width: f32, height: f32) -> Rect {
    Rect::from_center_size(middle, egui::vec2(width, height))
}
