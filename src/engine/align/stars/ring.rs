//! The sky in a ring around one star.

use super::mesh::clipped;
use super::window::Window;

/// A plane through the sky around a star.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sky {
    /// Level at the star, file units.
    pub level: f64,
    /// Rise per pixel to the right and downwards, file units.
    pub slope: [f64; 2],
    /// What the ring's pixels scatter by around the plane, file units.
    pub sigma: f64,
}

/// The plane through the pixels between two radii without outliers: twice
/// those are left out that lie beyond 3 sigma of the middle. `step` thins the
/// pixels out. None where fewer than twelve pixels have values.
pub(super) fn sky(
    window: &Window,
    place: [usize; 2],
    inner: f64,
    outer: f64,
    step: usize,
) -> Option<Sky> {
    let [x, y] = place.map(|p| p as isize);
    let reach = outer as isize + 1;
    let mut ring: Vec<[f64; 3]> = Vec::with_capacity(256);
    for v in (-reach..=reach).step_by(step) {
        for u in (-reach..=reach).step_by(step) {
            let square = (u * u + v * v) as f64;
            let value = window.at(x + u, y + v);
            if square >= inner * inner && square <= outer * outer && !value.is_nan() {
                ring.push([u as f64, v as f64, f64::from(value)]);
            }
        }
    }
    if ring.len() < 12 {
        return None;
    }
    let mut sky = Sky {
        level: 0.0,
        slope: [0.0; 2],
        sigma: 0.0,
    };
    let mut rest = Vec::with_capacity(ring.len());
    for _ in 0..2 {
        let [du, dv] = sky.slope;
        let left = |pixel: &[f64; 3]| pixel[2] - du * pixel[0] - dv * pixel[1];
        rest.clear();
        rest.extend(ring.iter().map(|pixel| left(pixel) as f32));
        let middle = clipped(&mut rest)?;
        let near = |pixel: &&[f64; 3]| (left(pixel) - middle.median).abs() <= 3.0 * middle.sigma;
        let kept: Vec<[f64; 3]> = ring.iter().filter(near).copied().collect();
        sky = plane(&kept, middle.mean);
        sky.sigma = middle.sigma;
    }
    Some(sky)
}

/// Least squares; `level` alone where the pixels do not span a plane.
fn plane(pixels: &[[f64; 3]], level: f64) -> Sky {
    let count = pixels.len() as f64;
    let mean = |index: usize| pixels.iter().map(|pixel| pixel[index]).sum::<f64>() / count;
    let (u0, v0, w0) = (mean(0), mean(1), mean(2));
    let [mut uu, mut uv, mut vv, mut uw, mut vw] = [0.0; 5];
    for [u, v, w] in pixels {
        let (u, v, w) = (u - u0, v - v0, w - w0);
        uu += u * u;
        uv += u * v;
        vv += v * v;
        uw += u * w;
        vw += v * w;
    }
    let determinant = uu * vv - uv * uv;
    if pixels.len() < 12 || determinant < 0.1 * uu * vv {
        return Sky {
            level,
            slope: [0.0; 2],
            sigma: 0.0,
        };
    }
    let slope = [
        (uw * vv - vw * uv) / determinant,
        (vw * uu - uw * uv) / determinant,
    ];
    Sky {
        level: w0 - slope[0] * u0 - slope[1] * v0,
        slope,
        sigma: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_is_found_beneath_outliers() {
        let mut window = Window {
            first_row: 0,
            width: 40,
            values: (0..1600)
                .map(|i| 100.0 + 0.5 * (i % 40) as f32 - 0.25 * (i / 40) as f32)
                .collect(),
        };
        for i in 0..4 {
            window.values[(26 + i) * 40 + 20] = 1e4;
            window.values[14 * 40 + 18 + i] = f32::NAN;
        }
        let found = sky(&window, [20, 20], 5.0, 9.0, 1).expect("a ring");
        assert!((found.level - 105.0).abs() < 1e-3, "{found:?}");
        assert!((found.slope[0] - 0.5).abs() < 1e-4, "{found:?}");
        assert!((found.slope[1] + 0.25).abs() < 1e-4, "{found:?}");
        window.values.fill(f32::NAN);
        assert_eq!(sky(&window, [20, 20], 5.0, 9.0, 1), None);
    }
}
