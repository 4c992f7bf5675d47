//! The words that go under a picture, from what is known of it.

use super::recipe::About;

/// A line or band of the picture, as a caption speaks of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// In words: `hydrogen-alpha`.
    pub name: String,
    /// Centre of the passband, nm.
    pub center_nm: f64,
    /// Width of the passband, nm.
    pub width_nm: Option<f64>,
    /// Whether it is L, R, G or B.
    pub broad: bool,
    /// Symbols of lines that the filter lets through as well: `[N II]`.
    pub also_passes: Vec<String>,
    /// One word for its colour, lower case; None where it gives brightness only.
    pub color_name: Option<String>,
    /// Whether that is the light's own colour.
    pub natural: bool,
    /// Seconds of exposure.
    pub exposure_s: Option<f64>,
}

/// Three captions of one picture.
#[derive(
    Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct Caption {
    /// For a post: a sentence or two.
    pub short: String,
    /// For a gallery: what is shown in which colour, and for how long.
    pub long: String,
    /// For someone who does not see the picture.
    pub alt: String,
}

/// Writes the captions of a picture.
pub fn write(about: &About, object: &str, shown: &[Shown]) -> Caption {
    let subject = match (about.title.is_empty(), object.is_empty()) {
        (false, _) => about.title.clone(),
        (true, false) => object.to_owned(),
        (true, true) => "A picture of the sky".to_owned(),
    };
    let total: f64 = shown.iter().filter_map(|line| line.exposure_s).sum();
    let whole_total = shown.iter().all(|line| line.exposure_s.is_some());
    let time = (total > 0.0).then(|| {
        let at_least = if whole_total { "" } else { "at least " };
        format!("{at_least}{}", hours_minutes(total))
    });
    let colored: Vec<&Shown> = shown
        .iter()
        .filter(|line| line.color_name.is_some())
        .collect();
    let natural = colored.iter().all(|line| line.natural);
    let kind = match (natural, colored.iter().any(|line| line.natural)) {
        (true, _) => {
            "Natural colour: each light is shown in its own hue, as bright as the processing makes it"
        }
        (false, false) => "Mapped colour, not what an eye would see",
        (false, true) => "Partly mapped colour, not what an eye would see",
    };
    let brief: Vec<String> = colored
        .iter()
        .map(|line| {
            format!(
                "{} {}",
                line.name,
                line.color_name.as_deref().unwrap_or_default()
            )
        })
        .collect();
    let short = match &time {
        Some(time) => format!("{subject}. {kind}: {}. {time} of exposure.", and(&brief)),
        None => format!("{subject}. {kind}: {}.", and(&brief)),
    };
    let mut long = format!("{subject}. {kind}: ");
    let full: Vec<String> = colored.iter().map(|line| in_full(line)).collect();
    long.push_str(&and(&full));
    long.push('.');
    let brightness: Vec<String> = shown
        .iter()
        .filter(|line| line.color_name.is_none())
        .map(|line| line.name.clone())
        .collect();
    if !brightness.is_empty() {
        long.push_str(&format!(" The brightness comes from {}.", and(&brightness)));
    }
    let times: Vec<String> = shown
        .iter()
        .filter_map(|line| Some(format!("{} {}", line.name, hours_minutes(line.exposure_s?))))
        .collect();
    if let Some(time) = &time {
        long.push_str(&format!(" Exposure: {}", times.join(", ")));
        long.push_str(&if times.len() > 1 {
            format!("; {time} in all.")
        } else {
            ".".into()
        });
    }
    if !about.credit.is_empty() {
        long.push_str(&format!(" Credit: {}.", about.credit.trim_end_matches('.')));
    }
    let what = if object.is_empty() {
        "part of the night sky".to_owned()
    } else {
        object.to_owned()
    };
    let plural = if colored.len() == 1 {
        "filter"
    } else {
        "filters"
    };
    let alt = format!(
        "Colour composite of {what} from {} {plural}: {}.",
        count(colored.len()),
        and(&colored
            .iter()
            .map(|line| {
                format!(
                    "{} shown {}",
                    line.name,
                    line.color_name.as_deref().unwrap_or_default()
                )
            })
            .collect::<Vec<_>>())
    );
    Caption { short, long, alt }
}

fn in_full(line: &Shown) -> String {
    let color = line.color_name.as_deref().unwrap_or_default();
    if line.broad {
        return format!("{} as {color}", line.name);
    }
    let mut inside = format!("{:.0} nm", line.center_nm);
    if !line.also_passes.is_empty() {
        inside.push_str(&format!(", with some {}", and(&line.also_passes)));
    }
    format!("light of {} ({inside}) is shown {color}", line.name)
}

/// Hours and minutes: `6 h 40 m`, `45 m`, `30 s`.
pub fn hours_minutes(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round() as u64;
    match (minutes / 60, minutes % 60) {
        (0, 0) => format!("{seconds:.0} s"),
        (0, minutes) => format!("{minutes} m"),
        (hours, minutes) => format!("{hours} h {minutes:02} m"),
    }
}

fn and(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

fn count(n: usize) -> String {
    const WORDS: [&str; 10] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(name: &str, nm: f64, color: Option<&str>, natural: bool) -> Shown {
        Shown {
            name: name.to_owned(),
            center_nm: nm,
            width_nm: Some(5.0),
            broad: false,
            also_passes: if name == "hydrogen-alpha" {
                vec!["[N II]".into()]
            } else {
                vec![]
            },
            color_name: color.map(str::to_owned),
            natural,
            exposure_s: Some(24_000.0),
        }
    }

    #[test]
    fn mapped_and_natural_are_told_apart() {
        let lines = [
            shown("ionised sulfur", 672.4, Some("red"), false),
            shown("hydrogen-alpha", 656.28, Some("green"), false),
        ];
        let caption = write(&About::default(), "Lantern Shell", &lines);
        assert_eq!(
            caption.short,
            "Lantern Shell. Mapped colour, not what an eye would see: ionised sulfur red and \
             hydrogen-alpha green. 13 h 20 m of exposure."
        );
        assert!(
            caption
                .long
                .contains("hydrogen-alpha (656 nm, with some [N II]) is shown green")
        );
        assert!(caption.alt.contains("two filters"));
        let natural = write(
            &About::default(),
            "",
            &[shown("hydrogen-alpha", 656.28, Some("red"), true)],
        );
        assert!(natural.short.contains("Natural colour"));
        let one = write(
            &About::default(),
            "",
            &[shown("a", 1.0, None, false), lines[0].clone()],
        );
        assert!(one.long.contains("brightness comes from a"));
    }

    #[test]
    fn times_are_readable() {
        assert_eq!(hours_minutes(24_000.0), "6 h 40 m");
        assert_eq!(hours_minutes(2_700.0), "45 m");
        assert_eq!(hours_minutes(20.0), "20 s");
        assert_eq!(hours_minutes(3_600.0), "1 h 00 m");
    }
}
