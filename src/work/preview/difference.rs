//! How far two renditions lie apart, pixel by pixel.

use std::sync::atomic::AtomicBool;

use super::Request;
use super::canvas::{Drawn, fill};
use super::rendition::Staged;
use super::stage::Stage;
use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::frame::Depth;

/// CIEDE2000 in grey: no difference is black, `full` and above white.
pub(super) fn draw(
    stage: &mut Stage,
    request: &Request,
    ids: [&str; 2],
    full: f32,
    cancel: &AtomicBool,
) -> Option<Drawn> {
    let [one, other] = ids.map(|id| Staged::new(stage, request, id, Depth::Float32, cancel));
    let (one, other) = (one?, other?);
    let scale = if full > 0.0 { 255.0 / full } else { 0.0 };
    fill(request, cancel, |piece| {
        let mut first = vec![0.0; piece.rgb.len()];
        let mut second = vec![0.0; piece.rgb.len()];
        // What clips in one of them says nothing of the difference.
        let mut looks = vec![0; piece.looks.len()];
        one.light(&piece.pixels, &mut first, &mut looks);
        other.light(&piece.pixels, &mut second, &mut looks);
        let pixels = first.chunks_exact(3).zip(second.chunks_exact(3));
        for ((a, b), rgb) in pixels.zip(piece.rgb.chunks_exact_mut(3)) {
            let far = if a == b {
                0.0
            } else {
                ciede2000(lab(a), lab(b)) as f32
            };
            rgb.fill((far * scale + 0.5).min(255.0) as u8);
        }
    })
}

fn lab(light: &[f32]) -> Lab {
    Lab::from_linear_srgb([light[0], light[1], light[2]].map(f64::from))
}
