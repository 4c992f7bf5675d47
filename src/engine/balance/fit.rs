//! Gains from a catalogue of star colours.

use std::ops::ControlFlow;

use super::super::header::Header;
use super::matching::{Chart, lay};
use super::neutral::{colors, finish, stars, too_few};
use super::temperature::{Luminosity, from_b_v, from_bp_rp};
use super::{Balance, BalanceError, Broadband, Refusal, black_body};

/// Least stars with a known colour.
pub const LEAST_MATCHED: usize = 5;

/// A star of a catalogue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CatalogueStar {
    /// Right ascension, degrees (ICRS or equinox 2000).
    pub right_ascension_deg: f64,
    /// Declination, degrees.
    pub declination_deg: f64,
    /// B-V, magnitudes.
    pub b_v: Option<f64>,
    /// BP-RP, magnitudes.
    pub bp_rp: Option<f64>,
}

impl CatalogueStar {
    /// Its temperature, K: from BP-RP where the relation holds, else from B-V;
    /// None where neither does.
    pub fn temperature(&self, luminosity: Luminosity) -> Option<f64> {
        let by_bp_rp = self.bp_rp.and_then(|color| from_bp_rp(color, luminosity));
        by_bp_rp.or_else(|| self.b_v.and_then(from_b_v))
    }
}

/// How a catalogue is laid on the stars.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CatalogueOptions {
    /// What kind of stars BP-RP is read for.
    pub luminosity: Luminosity,
    /// A row belongs to a star within this distance, px; None: 0.7 of green's
    /// star width, at least 1.5.
    pub radius_px: Option<f64>,
    /// The header's coordinates may be off by this much, px.
    pub search_px: f64,
}

impl Default for CatalogueOptions {
    fn default() -> Self {
        Self {
            luminosity: Luminosity::Dwarf,
            radius_px: None,
            search_px: 40.0,
        }
    }
}

/// Gains with which the stars have the colours that their catalogue foretells:
/// colour to temperature, temperature to the black body's linear sRGB, and one
/// gain for each of red and blue, fitted in logarithms to red over green and
/// blue over green, weighted by errors and scatter, outliers of 3 sigma left
/// out. `header` is the common grid's. Rows of the very same place and colours
/// count as one.
///
/// The primaries of a camera's filters are not sRGB's: what a single gain
/// cannot mend is in the scatter.
///
/// # Errors
/// [`BalanceError`]: no sky coordinates, another field, nothing in common, too
/// few stars.
pub fn by_catalogue(
    channels: &Broadband<'_>,
    header: &Header,
    catalogue: &[CatalogueStar],
    options: &CatalogueOptions,
    tick: &mut dyn FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<Balance, BalanceError> {
    let fields = channels.complete()?;
    let green = fields[1];
    let chart = Chart::new(header, green.rows.size())?;
    let mut table = stars(&fields, LEAST_MATCHED, tick)?;
    let voters: Vec<_> = green
        .stars
        .stars
        .iter()
        .map(|star| [star.x, star.y])
        .collect();
    let places: Vec<_> = table.stars.iter().map(|star| star.place).collect();
    let fwhm = green.stars.fwhm_px.unwrap_or(3.0);
    let radius_px = options.radius_px.unwrap_or((0.7 * fwhm).max(1.5));
    let laid = lay(
        &chart,
        catalogue,
        &voters,
        &places,
        [radius_px, options.search_px],
        tick,
    )?;
    let mut values = Vec::new();
    for (star, row) in std::mem::take(&mut table.stars).into_iter().zip(laid.rows) {
        let temperature = row.and_then(|number| {
            let known = catalogue[number].temperature(options.luminosity);
            known.ok_or(Refusal::NoTemperature)
        });
        let predicted = temperature
            .and_then(|kelvin| black_body::linear_srgb(kelvin).ok_or(Refusal::NoTemperature));
        match predicted {
            Ok([r, g, b]) if r > 0.0 && g > 0.0 && b > 0.0 => {
                let mut offsets = colors(&star);
                offsets[0][0] = libm::log(r / g) - offsets[0][0];
                offsets[1][0] = libm::log(b / g) - offsets[1][0];
                values.push(offsets);
                table.stars.push(star);
            }
            Ok(_) => table.refused.push((star.place, Refusal::NoTemperature)),
            Err(why) => table.refused.push((star.place, why)),
        }
    }
    if values.len() < LEAST_MATCHED {
        return Err(too_few(values.len(), LEAST_MATCHED, table.reasons()));
    }
    finish(&table, &values, 1.0, LEAST_MATCHED, Some(laid.moved_px))
}
