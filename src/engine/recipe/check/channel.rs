//! Whether a channel makes sense.

use super::numbers::{Checked, fail, finite, positive, share};
use crate::engine::lines;
use crate::engine::recipe::level::{SMOOTH_MAX, SMOOTH_MIN};
use crate::engine::recipe::text::nearest_hint;
use crate::engine::recipe::{Align, AlignMethod, Channel, KeepOut, Level, Recipe, Shape, Stretch};

pub(super) fn channel(channel: &Channel, recipe: &Recipe) -> Checked {
    if channel.file.is_empty() {
        return fail(
            "`file` is empty",
            "name the stack, relative to the recipe's folder",
        );
    }
    if lines::line(&channel.line).is_none() {
        let known = lines::lines().iter().map(|line| line.id.as_str());
        let what = format!("`line = \"{}\"` is not in the line table", channel.line);
        return fail(what, nearest_hint(&channel.line, known));
    }
    positive("center_nm", channel.center_nm)?;
    positive("width_nm", channel.width_nm)?;
    positive("exposure_s", channel.exposure_s)?;
    if let Some(align) = &channel.align {
        self::align(align)?;
    }
    if let Some(level) = &channel.level {
        self::level(level)?;
    }
    if let Some(continuum) = &channel.continuum {
        continuum.check(channel, recipe)?;
    }
    share("denoise", channel.denoise)?;
    stretch(&channel.stretch)
}

fn align(align: &Align) -> Checked {
    match (align.method, align.matrix) {
        (AlignMethod::Given, None) => fail(
            "`align.method = \"given\"` has no matrix",
            "add `matrix = [[a, b, c], [d, e, f], [0, 0, 1]]`, source pixel to reference pixel",
        ),
        (AlignMethod::Given, Some(matrix)) => {
            for value in matrix.iter().flatten() {
                finite("align.matrix", *value)?;
            }
            let [[a, b, _], [d, e, _], _] = matrix;
            if a * e - b * d == 0.0 {
                return fail("`align.matrix` has no inverse", "check its numbers");
            }
            Ok(())
        }
        (_, Some(_)) => fail(
            "`align.matrix` goes with `method = \"given\"` only",
            "take the matrix out, or write `method = \"given\"`",
        ),
        (_, None) => Ok(()),
    }
}

fn level(level: &Level) -> Checked {
    match (level.degree, level.smooth) {
        (None, None) => {
            return fail(
                "`level` has neither `degree` nor `smooth`",
                "write `degree = 1`, or `smooth = 0.5` for a glow that no polynomial follows",
            );
        }
        (Some(_), Some(_)) => {
            return fail(
                "`level.degree` and `level.smooth` are both there",
                "keep one: a polynomial, or a spline",
            );
        }
        (Some(degree), None) if !(1..=3).contains(&degree) => {
            return fail(
                format!("`level.degree = {degree}` is no degree of a sky model"),
                "write 1, 2 or 3",
            );
        }
        (None, Some(smooth)) if !(SMOOTH_MIN..=SMOOTH_MAX).contains(&smooth) => {
            return fail(
                format!("`level.smooth = {smooth}` is out of range"),
                format!(
                    "it runs from {SMOOTH_MIN} (follows short waves) to {SMOOTH_MAX} (long ones only)"
                ),
            );
        }
        _ => {}
    }
    level.keep_out.iter().try_for_each(keep_out)
}

fn keep_out(part: &KeepOut) -> Checked {
    match part {
        KeepOut::Circle([x, y, radius]) => {
            for value in [x, y, radius] {
                finite("level.keep_out.circle", *value)?;
            }
            if *radius <= 0.0 {
                return fail(
                    format!("the circle [{x}, {y}, {radius}] of `level.keep_out` has no radius"),
                    "write x, y and a radius above 0, in pixels of the reference",
                );
            }
            Ok(())
        }
        KeepOut::Polygon(corners) => {
            if corners.len() < 3 {
                return fail(
                    format!(
                        "a polygon of `level.keep_out` has {} corners",
                        corners.len()
                    ),
                    "give it at least 3 points [x, y], in pixels of the reference",
                );
            }
            corners
                .iter()
                .flatten()
                .try_for_each(|value| finite("level.keep_out.polygon", *value))
        }
    }
}

pub(super) fn stretch(stretch: &Stretch) -> Checked {
    let Stretch {
        black,
        white,
        shape,
        amount,
        curve,
    } = stretch;
    finite("stretch.black", *black)?;
    finite("stretch.white", *white)?;
    let range = white - black;
    if range <= 0.0 {
        return fail(
            format!("`stretch.black = {black}` is not below `stretch.white = {white}`"),
            "raise white or lower black",
        );
    }
    finite("stretch.white - stretch.black", range)?;
    finite("1 / (stretch.white - stretch.black)", 1.0 / range)?;
    if let Some(amount) = amount {
        finite("stretch.amount", *amount)?;
    }
    let sound = match (shape, amount) {
        (Shape::Linear, _) => true,
        (_, None) => {
            return fail(
                "`stretch.amount` is missing",
                "every shape but `linear` needs it",
            );
        }
        (Shape::Bias, Some(amount)) => *amount > 1e-12 && *amount < 1.0 - 1e-12,
        (_, Some(amount)) => *amount > 0.0,
    };
    if !sound {
        return fail(
            format!(
                "`stretch.amount = {}` is out of range",
                amount.unwrap_or_default()
            ),
            "asinh, log and power take more than 0; bias takes 1e-12 to 1 - 1e-12",
        );
    }
    match curve {
        Some(points) => self::curve(points),
        None => Ok(()),
    }
}

fn curve(points: &[[f64; 2]]) -> Checked {
    if points.len() < 2 {
        return fail(
            "`stretch.curve` has fewer than two points",
            "give two or leave it out",
        );
    }
    for [x, y] in points {
        if !(0.0..=1.0).contains(x) || !(0.0..=1.0).contains(y) {
            return fail(
                format!("the point [{x}, {y}] of `stretch.curve` is outside the unit square"),
                "x and y run from 0 to 1",
            );
        }
    }
    for pair in points.windows(2) {
        let ([x0, y0], [x1, y1]) = (pair[0], pair[1]);
        if x1 <= x0 {
            return fail(
                format!("`stretch.curve` goes from x = {x0} to x = {x1}"),
                "x must rise from point to point",
            );
        }
        if y1 < y0 {
            return fail(
                format!("`stretch.curve` falls from y = {y0} to y = {y1}"),
                "a tone curve may rest but not fall",
            );
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use crate::engine::recipe::text::{parse, write};
    use crate::engine::recipe::{KeepOut, Level};

    fn with_level(level: &str) -> String {
        format!(
            r##"
recipe = 1
[[channel]]
id = "ha"
file = "lantern-ha.fits"
line = "Ha"
stretch = {{ black = 0, white = 1 }}
[channel.level]
{level}
[[rendition]]
id = "mapped"
colors = {{ ha = "#e0603a" }}
"##
        )
    }

    #[test]
    fn a_sky_model_reads_and_writes_without_change() {
        let full = "smooth = 0.3\nzero = true\n\
            keep_out = [{ circle = [10, 20.5, 3] }, { polygon = [[0, 0], [9, 0], [4, 7.5]] }]";
        let recipe = parse(&with_level(full), "test").expect("sound");
        let wanted = Level {
            degree: None,
            smooth: Some(0.3),
            zero: true,
            keep_out: vec![
                KeepOut::Circle([10.0, 20.5, 3.0]),
                KeepOut::Polygon(vec![[0.0, 0.0], [9.0, 0.0], [4.0, 7.5]]),
            ],
        };
        assert_eq!(recipe.channels[0].level, Some(wanted));
        let again = parse(&write(&recipe).expect("writes"), "again").expect("sound");
        assert_eq!(again, recipe);
        let plain = parse(&with_level("degree = 2"), "test").expect("sound");
        let text = write(&plain).expect("writes");
        assert!(text.contains("degree = 2") && !text.contains("zero") && !text.contains("keep"));
    }

    #[test]
    fn mistakes_in_a_sky_model_have_words_and_hints() {
        let cases = [
            ("zero = true", "neither", "degree = 1"),
            ("degree = 1\nsmooth = 0.5", "both", "keep one"),
            ("degree = 0", "degree = 0", "1, 2 or 3"),
            ("degree = 4", "degree = 4", "1, 2 or 3"),
            ("smooth = 0.0", "smooth = 0", "0.1"),
            ("smooth = 1.5", "smooth = 1.5", "0.1"),
            ("smooth = nan", "smooth = NaN", "0.1"),
            (
                "degree = 1\nkeep_out = [{ circle = [1, 2, 0] }]",
                "[1, 2, 0]",
                "above 0",
            ),
            (
                "degree = 1\nkeep_out = [{ circle = [1, inf, 4] }]",
                "circle",
                "finite",
            ),
            (
                "degree = 1\nkeep_out = [{ polygon = [[1, 2], [3, 4]] }]",
                "2 corners",
                "at least 3",
            ),
            (
                "degree = 1\nkeep_out = [{ polygon = [[1, 2], [3, nan], [3, 5]] }]",
                "polygon",
                "finite",
            ),
            (
                "degree = 1\nkeep_out = [{ polygn = [[1, 2]] }]",
                "`polygn`",
                "`polygon`",
            ),
            ("degre = 1", "`degre`", "`degree`"),
        ];
        for (level, what, hint) in cases {
            let error = parse(&with_level(level), "test").expect_err(level);
            assert!(error.what.contains(what), "{level}: {error}");
            assert!(error.hint.contains(hint), "{level}: {}", error.hint);
        }
    }
}
