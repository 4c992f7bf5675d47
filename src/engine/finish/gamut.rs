//! What happens to colours outside the output space.

/// Keeps the dominant wavelength: if a component is negative, towards the grey
/// of equal luminance just until none is (black where the luminance is not
/// positive); then, if a component exceeds 1, divided by the largest.
#[inline(always)]
pub fn hold_hue(c: [f32; 3], luminance_weights: [f32; 3]) -> [f32; 3] {
    let w = luminance_weights;
    let luminance = w[0] * c[0] + w[1] * c[1] + w[2] * c[2];
    let least = c[0].min(c[1]).min(c[2]);
    let outside = least < 0.0;
    let dark = outside && luminance <= 0.0;
    let share = if outside && !dark {
        luminance / (luminance - least)
    } else {
        1.0
    };
    let grey = if outside && !dark { luminance } else { 0.0 };
    let base = grey - share * grey;
    let inside = [
        at_least_zero(base + share * c[0]),
        at_least_zero(base + share * c[1]),
        at_least_zero(base + share * c[2]),
    ];
    let largest = inside[0].max(inside[1]).max(inside[2]);
    let divisor = if largest > 1.0 { largest } else { 1.0 };
    [
        if dark { 0.0 } else { inside[0] / divisor },
        if dark { 0.0 } else { inside[1] / divisor },
        if dark { 0.0 } else { inside[2] / divisor },
    ]
}

/// One component to 0..1 by itself.
#[inline(always)]
pub fn clip(value: f32) -> f32 {
    let value = at_least_zero(value);
    if value < 1.0 { value } else { 1.0 }
}

#[inline(always)]
fn at_least_zero(value: f32) -> f32 {
    if value > 0.0 { value } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::color::space::Space;

    fn weights() -> [f32; 3] {
        Space::Srgb.luminance_weights().map(|w| w as f32)
    }

    #[test]
    fn colors_inside_stay_to_the_bit() {
        for c in [[0.2, 0.0, 1.0], [0.0; 3], [1.0; 3], [1e-20, 0.5, 0.25]] {
            assert_eq!(hold_hue(c, weights()), c);
        }
    }

    #[test]
    fn negative_light_moves_towards_grey_of_equal_luminance() {
        let c = [-0.2, 0.6, 0.3];
        let w = weights();
        let out = hold_hue(c, w);
        let y = |c: [f32; 3]| c[0] * w[0] + c[1] * w[1] + c[2] * w[2];
        assert!((y(out) - y(c)).abs() < 1e-6);
        assert!(out[0].abs() < 1e-7 && out[1] > out[2]);
        // The direction from grey is kept: equal ratios of differences.
        let grey = y(c);
        let ratio = |i: usize| (out[i] - grey) / (c[i] - grey);
        assert!((ratio(0) - ratio(1)).abs() < 1e-5 && (ratio(1) - ratio(2)).abs() < 1e-4);
    }

    #[test]
    fn too_bright_is_divided_and_dark_is_black() {
        assert_eq!(hold_hue([2.0, 1.0, 0.5], weights()), [1.0, 0.5, 0.25]);
        assert_eq!(hold_hue([0.001, -0.5, 0.2], weights()), [0.0; 3]);
        assert_eq!(clip(-0.5), 0.0);
        assert_eq!(clip(1.5), 1.0);
        assert_eq!(clip(f32::NAN), 0.0);
    }
}
