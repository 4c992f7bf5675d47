//! Whether numbers are in their ranges.

pub(super) type Checked = Result<(), (String, String)>;

pub(super) fn fail<T>(
    what: impl Into<String>,
    hint: impl Into<String>,
) -> Result<T, (String, String)> {
    Err((what.into(), hint.into()))
}

pub(super) fn finite(key: &str, value: f64) -> Checked {
    if value.is_finite() {
        Ok(())
    } else {
        fail(
            format!("`{key} = {value}` is not a number"),
            format!("give `{key}` a finite number"),
        )
    }
}

/// Light and factors on it stay far below what single precision overflows at:
/// sums and cubes of them are numbers still.
pub(super) const MOST_LIGHT: f64 = 1e9;
pub(super) const MOST_SATURATION: f64 = 1e6;

pub(super) fn bounded(key: &str, value: f64, most: f64) -> Checked {
    finite(key, value)?;
    if value.abs() <= most {
        Ok(())
    } else {
        fail(
            format!("`{key} = {value:?}` is beyond any use"),
            format!("stay between {:e} and {most:e}", -most),
        )
    }
}

pub(super) fn positive(key: &str, value: Option<f64>) -> Checked {
    let Some(value) = value else { return Ok(()) };
    finite(key, value)?;
    if value > 0.0 {
        Ok(())
    } else {
        fail(
            format!("`{key} = {value}` is not above 0"),
            format!("give `{key}` a value above 0"),
        )
    }
}

pub(super) fn share(key: &str, value: Option<f64>) -> Checked {
    match value {
        Some(value) if !(0.0..=1.0).contains(&value) => fail(
            format!("`{key} = {value}` is out of range"),
            "it runs from 0 (nothing) to 1 (wholly)",
        ),
        _ => Ok(()),
    }
}
