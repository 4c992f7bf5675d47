//! A map as FITS: the ratios, and their uncertainties in an extension.

use super::Made;
use crate::engine::header::Header;
use crate::engine::ratio::words::{INDICATIVE, symbol};
use crate::engine::ratio::{Map, Which};
use crate::engine::recipe::Channel;
use crate::engine::wcs::{moved, scaled};
use crate::io::write::atomic::Sealed;
use crate::io::write::channel::{About, ChannelError, prepare_all};
use crate::work::{Control, Error};

/// The header of the map's grid: that of the reference, its first pixel moved,
/// its pixels as long as the means are.
pub fn grid(reference: &Header, origin: [usize; 2], bin: u32) -> Header {
    scaled(&moved(reference, origin), [f64::from(bin); 2])
}

/// Writes the map; it still has to be published.
///
/// # Errors
/// When rows cannot be read or the file cannot be written, or when the job is
/// stopped.
pub fn write(made: &Made<'_>, map: &Map<'_>, control: Control<'_>) -> Result<Sealed, Error> {
    let ratio = &made.request.ratio;
    let own = made
        .inputs
        .iter()
        .find(|input| made.request.recipe.channels[input.channel].id == ratio.over)
        .map(|input| &input.facts.header);
    let about = |name: &str, what: String| About {
        own,
        grid: Some(&made.grid),
        texts: vec![
            ("EXTNAME", name.to_owned()),
            ("CREATOR", software()),
            ("CALIB", INDICATIVE.to_owned()),
            ("LINE1", made.over.line.clone()),
            ("LINE2", made.under.line.clone()),
        ],
        numbers: numbers(made),
        history: history(made, what),
        ..About::default()
    };
    let name = ascii(&format!("{}/{}", symbol(made.over), symbol(made.under)));
    let first = about("RATIO", format!("{name}, NaN where it is not known"));
    let second = about("SIGMA", format!("Uncertainty of {name}, 1 sigma"));
    let [values, sigmas] = [Which::Ratio, Which::Sigma].map(|which| map.part(which));
    let height = map.size().height as u64;
    let tick = |row: usize| control.progress.report("writing", row as u64, height);
    prepare_all(
        &made.request.out,
        &[(&values, &first), (&sigmas, &second)],
        &tick,
    )
    .map_err(|error| match error {
        ChannelError::Rows(error) => error.into(),
        ChannelError::Write(error) => error.into(),
    })
}

fn numbers(made: &Made<'_>) -> Vec<(&'static str, f64)> {
    let law = &made.law;
    let mut numbers = vec![
        ("MINSNR", law.min_snr),
        ("BINNING", law.bin as f64),
        ("SKY1", law.over.sky),
        ("SKYERR1", law.over.sky_error),
        ("NOISE1", law.over.noise),
        ("SKY2", law.under.sky),
        ("SKYERR2", law.under.sky_error),
        ("NOISE2", law.under.noise),
    ];
    for (keyword, side) in [("FULL1", &made.sides[0]), ("FULL2", &made.sides[1])] {
        numbers.extend(side.full.map(|full| (keyword, full)));
    }
    for (keyword, channel) in [("WAVE1", made.over), ("WAVE2", made.under)] {
        numbers.extend(center_nm(channel).map(|nm| (keyword, nm)));
    }
    numbers
}

/// Centre of a channel's passband, nm.
pub fn center_nm(channel: &Channel) -> Option<f64> {
    let table = crate::engine::lines::line(&channel.line).map(|line| line.center_nm);
    channel.center_nm.or(table)
}

fn history(made: &Made<'_>, what: String) -> Vec<String> {
    let mut lines = vec![
        what,
        format!(
            "1 is divided: {}; by 2: {}",
            made.over.file, made.under.file
        ),
        "WAVE: nm in air. SKY, SKYERR, NOISE: file units, NOISE of one pixel of the map".to_owned(),
        "FULL: in the file, before it is prepared; what is made of pixels from FULL on, there or in a \
         broad channel that is taken out, is no data".to_owned(),
    ];
    for (channel, index) in [(made.over, 1), (made.under, 2)] {
        let at = made
            .preparation
            .indices
            .iter()
            .position(|own| made.request.recipe.channels[*own].id == channel.id);
        let Some(prepared) = at.map(|at| &made.preparation.channels[at]) else {
            continue;
        };
        if let Some(align) = &prepared.align {
            lines.push(format!(
                "{index}: aligned by {} ({})",
                align.method, align.model
            ));
        }
        if let Some(level) = &prepared.level {
            lines.push(format!("{index}: sky evened, {}", level.kind));
        }
    }
    lines.extend(
        made.words
            .iter()
            .chain(&made.caveats)
            .map(|line| ascii(line)),
    );
    lines
}

// Headers hold ASCII alone.
fn ascii(text: &str) -> String {
    text.replace('α', "alpha")
        .replace('β', "beta")
        .replace('γ', "gamma")
        .replace('δ', "delta")
}

fn software() -> String {
    format!("Linehue {}", env!("CARGO_PKG_VERSION"))
}
