//! An angle in text, in degrees or in parts of sixty.

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// Degrees, or hours with minutes and seconds; 0 to 360 degrees.
    RightAscension,
    /// Degrees; -90 to 90.
    Declination,
}

/// Degrees. The error ends a sentence that begins with the text.
pub(super) fn angle(text: &str, unit: Unit) -> Result<f64, String> {
    let no = || "is no angle in degrees or in parts of sixty".to_owned();
    // The typographical minus sign too.
    let text = text.trim().replace('\u{2212}', "-");
    let negative = text.starts_with('-');
    let bare = text.trim_start_matches(['+', '-']);
    let marks = |c: char| c.is_whitespace() || ":hdms\u{b0}'\"\u{2032}\u{2033}".contains(c);
    let parts: Vec<&str> = bare.split(marks).filter(|part| !part.is_empty()).collect();
    let hours = unit == Unit::RightAscension && (parts.len() > 1 || bare.contains('h'));
    let mut value = 0.0;
    if parts.is_empty() || parts.len() > 3 {
        return Err(no());
    }
    for (index, part) in parts.iter().enumerate() {
        let number: f64 = part.parse().map_err(|_| no())?;
        let sound = number >= 0.0 && number.is_finite() && (index == 0 || number < 60.0 + 1e-9);
        if !sound {
            return Err(no());
        }
        value += number / [1.0, 60.0, 3600.0][index];
    }
    let degrees = if hours { 15.0 * value } else { value };
    let degrees = if negative { -degrees } else { degrees };
    match unit {
        Unit::RightAscension if !(0.0..=360.0).contains(&degrees) => {
            Err("is not within 0 to 360 degrees (24 hours)".to_owned())
        }
        Unit::Declination if degrees.abs() > 90.0 => {
            Err("is not within -90 to 90 degrees".to_owned())
        }
        _ => Ok(degrees),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_read() {
        let ra = |text: &str| angle(text, Unit::RightAscension);
        let dec = |text: &str| angle(text, Unit::Declination);
        let near = |found: Result<f64, String>, truth: f64| {
            assert!((found.expect("an angle") - truth).abs() < 1e-9);
        };
        near(ra("83.82208"), 83.82208);
        near(ra("05 35 17.3"), 15.0 * (5.0 + 35.0 / 60.0 + 17.3 / 3600.0));
        near(ra("05:35:17.3"), 83.822_083_333_333_33);
        near(ra("5h35m17.3s"), 83.822_083_333_333_33);
        near(dec("-00 30 00"), -0.5);
        near(dec("+12\u{b0}30'36\""), 12.51);
        near(dec("\u{2212}5.25"), -5.25);
        for bad in ["", "x", "1 2 3 4", "370", "-1", "12 75 00", "nan", "25h"] {
            assert!(ra(bad).is_err(), "{bad}");
        }
        assert!(dec("-91").is_err());
    }
}
