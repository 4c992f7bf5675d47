//! What a map shows, in sentences.

use super::Counts;
use super::chance::expected;
use super::criteria::Criterion;
use crate::engine::caption::Caption;
use crate::engine::lines::{line, passband::also_passes};
use crate::engine::recipe::{Channel, Ratio};

/// Said of every map and under every picture.
pub const INDICATIVE: &str = "indicative: not calibrated";

/// What there is to say of a map in numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// All pixels of the map.
    pub pixels: u64,
    /// How many of them are what.
    pub counts: Counts,
    /// 16th percentile, median and 84th percentile of the ratios.
    pub quantiles: [f64; 3],
    /// Whether there is more than noise.
    pub stands_out: bool,
}

impl Figures {
    /// Pixels with a ratio among those with data, 0..1.
    pub fn known(&self) -> f64 {
        share(self.counts.known, self.counts.data)
    }

    /// Ratios above the mark among all ratios, 0..1.
    pub fn above(&self) -> f64 {
        share(self.counts.above, self.counts.known)
    }

    /// The same by more than their uncertainty.
    pub fn surely_above(&self) -> f64 {
        share(self.counts.surely_above, self.counts.known)
    }
}

/// A part of a whole, 0..1; nothing of nothing is none of it.
pub fn share(part: u64, whole: u64) -> f64 {
    if whole == 0 {
        0.0
    } else {
        part as f64 / whole as f64
    }
}

/// A channel's line as a caption prints it; its id where the table has none.
pub fn symbol(channel: &Channel) -> &str {
    line(&channel.line).map_or(&channel.id, |line| &line.symbol)
}

/// `[S II]/Hα`
pub fn name(over: &Channel, under: &Channel) -> String {
    format!("{}/{}", symbol(over), symbol(under))
}

/// What was found.
pub fn found(
    ratio: &Ratio,
    over: &Channel,
    under: &Channel,
    figures: &Figures,
    criterion: Option<&Criterion>,
) -> Vec<String> {
    let name = name(over, under);
    if !figures.stands_out {
        return vec![nothing(&name, ratio, figures)];
    }
    let [low, median, high] = figures.quantiles.map(digits);
    let mut said = vec![format!(
        "{name} is known in {} of the field, where both lines stand {} sigma above their skies: \
         median {median}, the middle 68 % from {low} to {high} ({INDICATIVE}).",
        percent(figures.known()),
        ratio.min_snr,
    )];
    let Some(criterion) = criterion else {
        return said;
    };
    said.push(match criterion.mark {
        Some(mark) => format!(
            "{} of that lies above {mark}, {} by more than its uncertainty: {} ({}).",
            percent(figures.above()),
            percent(figures.surely_above()),
            criterion.reading,
            criterion.source
        ),
        None => format!("It is {} ({}).", criterion.reading, criterion.source),
    });
    said
}

// That the map shows noise.
fn nothing(name: &str, ratio: &Ratio, figures: &Figures) -> String {
    let Counts { known, data, .. } = figures.counts;
    let sigma = ratio.min_snr;
    let by_chance = expected(data, sigma);
    let by_chance = match by_chance {
        0.0..0.5 => "none".to_owned(),
        0.5..1.5 => "one".to_owned(),
        _ => format!("{by_chance:.0}"),
    };
    format!(
        "{name}: no emission stands above the noise in both lines. In {known} of {data} pixels both \
         reach {sigma} sigma; independent Gaussian noise alone brings about {by_chance} there, noise \
         that neighbours or lines share brings more, and these are too few, or lie too far apart, \
         to be light. This map says nothing of a ratio."
    )
}

/// What stands against taking it at its word. `starless` says of both channels
/// whether the stars' continuum was taken out of them.
pub fn caveats(
    over: &Channel,
    under: &Channel,
    criterion: Option<&Criterion>,
    starless: [bool; 2],
) -> Vec<String> {
    let mut said = vec![
        "Exposures, filters and the air scale the whole map: its numbers hold as far as both \
         stacks are alike in them."
            .to_owned(),
    ];
    for (channel, raises) in [(over, "raises"), (under, "lowers")] {
        said.extend(passed(channel, raises));
    }
    match starless {
        [true, true] => {}
        [false, false] => said.push(
            "The continuum of stars was not taken out: on stars this is no ratio of lines."
                .to_owned(),
        ),
        [over_is, _] => {
            let one = symbol(if over_is { over } else { under });
            said.push(format!(
                "The continuum of stars was taken out of {one} alone: wherever starlight falls, \
                 on stars and on dust, the ratio is off. Take it out of both, or of neither."
            ));
        }
    }
    for caveat in criterion.map_or(&[][..], |criterion| criterion.caveats) {
        let mut letters = caveat.chars();
        let first = letters.next().map(char::to_uppercase);
        said.push(format!(
            "{}{}.",
            first.into_iter().flatten().collect::<String>(),
            letters.as_str()
        ));
    }
    said.push(
        "The uncertainty is that of the sky's noise and level; what bright light adds is not in it."
            .to_owned(),
    );
    said
}

// What else the filter of a channel lets through.
fn passed(channel: &Channel, raises: &str) -> Option<String> {
    let own = line(&channel.line).filter(|line| !line.is_broad())?;
    let center = channel.center_nm.unwrap_or(own.center_nm);
    // Without a width the usual neighbours are named; with one, those that it
    // lets through.
    let (which, others): (String, Vec<&str>) = match channel.width_nm {
        Some(width) => {
            let passing = also_passes(&own.id, center, width);
            let mut ids: Vec<&str> = Vec::new();
            for other in passing.iter().filter_map(|passing| line(&passing.line)) {
                if !ids.contains(&other.symbol.as_str()) {
                    ids.push(&other.symbol);
                }
            }
            (format!("{width} nm wide, lets"), ids)
        }
        None => {
            let others = own.neighbours.iter().filter_map(|id| line(id));
            let symbols = others.map(|other| other.symbol.as_str()).collect();
            ("of unknown width, may let".to_owned(), symbols)
        }
    };
    (!others.is_empty()).then(|| {
        format!(
            "The filter of {}, {which} {} through as well, which {raises} the ratio.",
            own.symbol,
            others.join(" and ")
        )
    })
}

/// What the words under a map are made of.
#[derive(Debug, Clone, Copy)]
pub struct Told<'a> {
    /// `[S II]/Hα`
    pub name: &'a str,
    /// What the field shows, if that is known.
    pub object: Option<&'a str>,
    /// Pixels with a ratio among those with data, 0..1.
    pub known: f64,
    /// 16th percentile, median and 84th percentile of the ratios.
    pub quantiles: [f64; 3],
    /// The ratios at both ends of the scale; None where the map is no picture.
    pub scale: Option<[f64; 2]>,
    /// What was found.
    pub found: &'a [String],
    /// What stands against taking it at its word.
    pub caveats: &'a [String],
    /// Whether there is more than noise.
    pub stands_out: bool,
}

/// Characters of the short words at most.
const SHORT: usize = 280;

/// The words under a map: short, long, and for someone who does not see it.
pub fn caption(told: &Told<'_>) -> Caption {
    let [low, median, high] = told.quantiles.map(digits);
    let of = told
        .object
        .map_or(String::new(), |object| format!(" of {object}"));
    let figures = match told.stands_out {
        true => format!(
            "median {median}, the middle 68 % from {low} to {high}, known in {} of the field. \
             Indicative, not calibrated.",
            percent(told.known)
        ),
        false => "no emission stands above the noise in both lines.".to_owned(),
    };
    let name = told.name;
    let short = format!("The ratio {name}{of}: {figures}");
    let short = if short.chars().count() <= SHORT {
        short
    } else {
        format!("The ratio {name}: {figures}")
    };
    let field = told
        .object
        .map_or(String::new(), |object| format!(" in {object}"));
    let head = format!("How strong one line is beside another{field}.");
    let parts = std::iter::once(&head).chain(told.found).chain(told.caveats);
    let long: Vec<&str> = parts.map(String::as_str).collect();
    let colors = match told.scale {
        Some([from, to]) => format!(
            "Its colours run from dark blue at {from} over green to light yellow at {to}; grey is \
             where no ratio is known."
        ),
        None => {
            "Its pixels are the ratios themselves, and none where no ratio is known.".to_owned()
        }
    };
    Caption {
        short,
        long: long.join(" "),
        alt: format!(
            "A map of the ratio {name}{of}. {colors} {}",
            told.found.join(" ")
        ),
    }
}

/// A share in percent.
pub fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

/// A ratio with three digits that count.
pub fn digits(ratio: f64) -> String {
    let decimals = [100.0, 10.0, 1.0, 0.1, 0.01]
        .iter()
        .position(|least| ratio >= *least)
        .unwrap_or(5);
    format!("{ratio:.decimals$}")
}
