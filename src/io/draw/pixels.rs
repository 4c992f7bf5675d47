//! A drawing as pixels.

use tiny_skia::{
    Color, FillRule, GradientStop, LineCap, LineJoin, LinearGradient, Paint as Brush, Path,
    PathBuilder, Pixmap, Point as Spot, Shader, SpreadMode, Stroke, Transform,
};

use super::outline::{self, Piece};
use super::{Ink, Paint, Picture, Placed, Point, Scene, Shape};

/// The most pixels that a side of a drawing may have.
pub const LONGEST: usize = 30_000;

/// The most pixels that a drawing may have.
pub const MOST: usize = 400_000_000;

/// Pixels with their cover, row by row: R G B multiplied by the cover, and the
/// cover, one byte each.
pub struct Layer {
    /// Pixels in a row, and rows.
    pub size: [usize; 2],
    /// The bytes.
    pub rgba: Vec<u8>,
}

/// Draws at `scale` pixels to the unit. None where that is too large, or
/// nothing at all.
pub fn layer(scene: &Scene, scale: f64) -> Option<Layer> {
    let [width, height] = scene.size.map(|side| (side * scale).round());
    let fits = (1.0..=LONGEST as f64).contains(&width) && (1.0..=LONGEST as f64).contains(&height);
    if !fits || width * height > MOST as f64 {
        return None;
    }
    let mut map = Pixmap::new(width as u32, height as u32)?;
    if let Some([r, g, b]) = scene.ground {
        map.fill(Color::from_rgba8(r, g, b, 255));
    }
    for placed in &scene.pictures {
        blit(&mut map, placed, scale);
    }
    for shape in &scene.shapes {
        draw(&mut map, shape, scale);
    }
    Some(Layer {
        size: [width as usize, height as usize],
        rgba: map.take(),
    })
}

/// Draws at `scale` pixels to the unit, upon the drawing's ground (black where
/// it has none). None where that is too large, or nothing at all.
pub fn picture(scene: &Scene, scale: f64) -> Option<Picture> {
    let layer = layer(scene, scale)?;
    let rgb = layer
        .rgba
        .chunks_exact(4)
        .flat_map(|pixel| [pixel[0], pixel[1], pixel[2]])
        .collect();
    Some(Picture {
        size: layer.size,
        rgb,
    })
}

// A picture keeps its pixels: it is only ever placed at a scale of 1.
fn blit(map: &mut Pixmap, placed: &Placed, scale: f64) {
    let [left, top] = placed.at.map(|at| (at as f64 * scale).round() as usize);
    let (width, height) = (map.width() as usize, map.height() as usize);
    let columns = placed.picture.size[0].min(width.saturating_sub(left));
    if columns == 0 {
        return;
    }
    let data = map.data_mut();
    let rows = placed.picture.rgb.chunks_exact(3 * placed.picture.size[0]);
    for (y, row) in (top..height).zip(rows) {
        let start = 4 * (y * width + left);
        let out = data[start..start + 4 * columns].chunks_exact_mut(4);
        for (out, pixel) in out.zip(row.chunks_exact(3)) {
            out[..3].copy_from_slice(pixel);
            out[3] = 255;
        }
    }
}

fn draw(map: &mut Pixmap, shape: &Shape, scale: f64) {
    match shape {
        Shape::Box {
            at,
            size,
            radius,
            paint,
        } => fill(map, &outline::round_box(*at, *size, *radius), paint, scale),
        Shape::Disc {
            center,
            radius,
            ink,
        } => fill(map, &outline::disc(*center, *radius), &(*ink).into(), scale),
        Shape::Area { points, ink } => {
            let mut pieces = outline::lines(points);
            pieces.push(Piece::Close);
            fill(map, &pieces, &(*ink).into(), scale);
        }
        Shape::Words(words) => fill(map, &outline::words(words), &words.ink.into(), scale),
        Shape::Line {
            points,
            width,
            paint,
        } => stroke(map, &outline::lines(points), *width, paint, scale),
        Shape::Curve {
            points: [from, one, two, to],
            width,
            paint,
        } => {
            let pieces = [Piece::Move(*from), Piece::Cubic(*one, *two, *to)];
            stroke(map, &pieces, *width, paint, scale);
        }
        Shape::Group { shapes, .. } => {
            for shape in shapes {
                draw(map, shape, scale);
            }
        }
    }
}

fn path(pieces: &[Piece], scale: f64) -> Option<Path> {
    let at = |[x, y]: Point| ((x * scale) as f32, (y * scale) as f32);
    let mut builder = PathBuilder::new();
    for piece in pieces {
        match *piece {
            Piece::Move(point) => {
                let (x, y) = at(point);
                builder.move_to(x, y);
            }
            Piece::Line(point) => {
                let (x, y) = at(point);
                builder.line_to(x, y);
            }
            Piece::Cubic(one, two, to) => {
                let ((x1, y1), (x2, y2), (x, y)) = (at(one), at(two), at(to));
                builder.cubic_to(x1, y1, x2, y2, x, y);
            }
            Piece::Close => builder.close(),
        }
    }
    builder.finish()
}

fn fill(map: &mut Pixmap, pieces: &[Piece], paint: &Paint, scale: f64) {
    if let Some(path) = path(pieces, scale) {
        let brush = brush(paint, scale);
        map.fill_path(
            &path,
            &brush,
            FillRule::Winding,
            Transform::identity(),
            None,
        );
    }
}

fn stroke(map: &mut Pixmap, pieces: &[Piece], width: f64, paint: &Paint, scale: f64) {
    if let Some(path) = path(pieces, scale) {
        let stroke = Stroke {
            width: (width * scale) as f32,
            line_cap: LineCap::Round,
            line_join: LineJoin::Round,
            ..Stroke::default()
        };
        map.stroke_path(
            &path,
            &brush(paint, scale),
            &stroke,
            Transform::identity(),
            None,
        );
    }
}

fn brush(paint: &Paint, scale: f64) -> Brush<'static> {
    let shader = match paint {
        Paint::Flat(ink) => Shader::SolidColor(color(*ink)),
        Paint::Along { from, to, stops } => {
            let spot = |[x, y]: Point| Spot::from_xy((x * scale) as f32, (y * scale) as f32);
            let colors = stops
                .iter()
                .map(|(share, rgb)| GradientStop::new(*share as f32, color(Ink::full(*rgb))))
                .collect();
            LinearGradient::new(
                spot(*from),
                spot(*to),
                colors,
                SpreadMode::Pad,
                Transform::identity(),
            )
            .unwrap_or(Shader::SolidColor(Color::TRANSPARENT))
        }
    };
    Brush {
        shader,
        anti_alias: true,
        ..Brush::default()
    }
}

fn color(ink: Ink) -> Color {
    let [r, g, b] = ink.rgb;
    let cover = (255.0 * ink.cover.clamp(0.0, 1.0)).round() as u8;
    Color::from_rgba8(r, g, b, cover)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_lie_where_they_should() {
        let scene = Scene {
            size: [10.0, 8.0],
            title: String::new(),
            about: String::new(),
            ground: Some([10, 20, 30]),
            pictures: vec![Placed {
                at: [1, 1],
                picture: Picture {
                    size: [2, 1],
                    rgb: vec![1, 2, 3, 4, 5, 6],
                },
            }],
            shapes: vec![Shape::Box {
                at: [5.0, 2.0],
                size: [3.0, 4.0],
                radius: 0.0,
                paint: Ink::full([200, 100, 50]).into(),
            }],
        };
        let picture = picture(&scene, 1.0).expect("drawn");
        let at = |x: usize, y: usize| &picture.rgb[3 * (y * 10 + x)..][..3];
        assert_eq!(at(0, 0), [10, 20, 30]);
        assert_eq!((at(1, 1), at(2, 1)), (&[1, 2, 3][..], &[4, 5, 6][..]));
        assert_eq!(
            (at(5, 2), at(7, 5)),
            (&[200, 100, 50][..], &[200, 100, 50][..])
        );
        assert_eq!(at(8, 5), [10, 20, 30]);
        assert!(layer(&scene, 1e6).is_none());
    }
}
