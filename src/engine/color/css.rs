//! CSS Color 4 strings, through the `color` crate.

use color::ColorSpaceTag;

use super::space::{Space, apply, product};
use crate::engine::num::exact;

/// Why a colour string cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CssError {
    /// It does not follow CSS Color 4.
    #[error("`{0}` is not a CSS color; write for example \"#e0603a\" or \"oklch(0.7 0.15 150)\"")]
    Syntax(String),
    /// It is transparent.
    #[error("`{0}` is not opaque; a channel's color has no opacity, its strength is a factor")]
    Transparent(String),
}

/// Linear light on the sRGB primaries (unbounded) of a CSS Color 4 string.
///
/// # Errors
/// When the text does not parse, or is not opaque.
pub fn linear_srgb(text: &str) -> Result<[f64; 3], CssError> {
    let parsed = color::parse_color(text.trim()).map_err(|_| CssError::Syntax(text.to_owned()))?;
    if parsed.components[3] != 1.0 {
        return Err(CssError::Transparent(text.to_owned()));
    }
    let [r, g, b] = match parsed.cs {
        // Plain sRGB is decoded in double precision: it is by far the most used.
        ColorSpaceTag::Srgb => {
            let [r, g, b, _] = parsed.components;
            [r, g, b].map(|code| super::transfer::srgb_decode_exact(f64::from(code)))
        }
        // CSS Color 4 decodes it as displays do, with a plain exponent of 2.4
        // (ITU-R BT.1886); the `color` crate has the camera's curve.
        ColorSpaceTag::Rec2020 => {
            let [r, g, b, _] = parsed.components;
            let light = [r, g, b].map(|code| {
                let code = f64::from(code);
                exact::pow(code.abs(), 2.4).copysign(code)
            });
            let to_srgb = product(&Space::Srgb.from_xyz(), &Space::Rec2020.to_xyz());
            apply(&to_srgb, light)
        }
        _ => {
            let [r, g, b, _] = parsed.convert(ColorSpaceTag::LinearSrgb).components;
            [r, g, b].map(f64::from)
        }
    };
    if [r, g, b].iter().all(|component| component.is_finite()) {
        Ok([r, g, b])
    } else {
        Err(CssError::Syntax(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn css_strings_become_light() {
        // Values by the IEC 61966-2-1 formula and by CSS Color 4's own samples.
        let cases = [
            ("#e0603a", [0.745_404, 0.116_971, 0.042_311]),
            ("rgb(255 0 0)", [1.0, 0.0, 0.0]),
            ("color(display-p3 1 1 0)", [1.0, 1.0, -0.098_3]),
            ("color(rec2020 0.5 0.5 0.5)", [0.189_465; 3]),
            ("white", [1.0, 1.0, 1.0]),
        ];
        for (text, truth) in cases {
            let light = linear_srgb(text).expect(text);
            for (a, b) in light.iter().zip(truth) {
                assert!(
                    (a - b).abs() < 2e-3 * b.abs().max(0.01),
                    "{text}: {light:?}"
                );
            }
        }
    }

    #[test]
    fn mistakes_say_what_to_write() {
        assert!(matches!(linear_srgb("#12345"), Err(CssError::Syntax(_))));
        assert!(matches!(
            linear_srgb("rgb(1 2 3 / 50%)"),
            Err(CssError::Transparent(_))
        ));
        assert!(matches!(linear_srgb(""), Err(CssError::Syntax(_))));
    }
}
