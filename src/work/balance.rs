//! The white balance of R, G and B: measured on stars, a patch or a catalogue,
//! from files for the command, from what is in memory for the window.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::prepare::prepare;
use super::{Control, Error, full, inputs};
use crate::engine::align::stars::{self, FindLimits, Stars};
use crate::engine::balance::photometry::{Field, Refusal};
use crate::engine::balance::{
    self, Balance as Found, BalanceError, Broadband, CatalogueOptions, Patch, neutral_sky,
};
use crate::engine::frame::Rows;
use crate::engine::full::Marks;
use crate::engine::header::Header;
use crate::engine::recipe::{
    Balance, BalancedBy, Channel, Recipe, Stretch, check, stars::missing_band,
};
use crate::engine::wcs::moved;
use crate::io::read::catalogue::{self, Catalogue};

/// By what a white balance is measured.
#[derive(Debug, Clone, PartialEq)]
pub enum BalanceBy {
    /// The average of the field's stars is to be white.
    Stars,
    /// The star nearest to a place is to be white: x and y in pixels of the
    /// common grid, the centre of the first at 0.
    Star([f64; 2]),
    /// A part of the picture is to be grey: its first column and row, width and
    /// height, in pixels of the common grid.
    Patch([usize; 4]),
    /// Stars are to have the colours that a catalogue's file says.
    Catalogue(PathBuf),
}

impl BalanceBy {
    /// In words, after "white balance".
    pub fn words(&self) -> &'static str {
        match self {
            Self::Stars => "by average star",
            Self::Star(_) => "by a star",
            Self::Patch(_) => "by a patch",
            Self::Catalogue(_) => "by catalogue",
        }
    }
}

/// One of R, G and B on the common grid.
pub struct Band<'a> {
    /// Its linear values.
    pub rows: &'a dyn Rows,
    /// The value at which its detector is full.
    pub ceiling: Option<f64>,
    /// Where pixels went in at which it was full, as far as that is asked.
    pub full: Option<&'a Marks>,
}

/// What was measured.
#[derive(Debug, Clone)]
pub struct Measured {
    /// For the recipe.
    pub balance: Balance,
    /// What a person should know.
    pub notices: Vec<String>,
}

impl From<BalanceError> for Error {
    fn from(error: BalanceError) -> Self {
        match error {
            BalanceError::Stopped => Self::Cancelled,
            BalanceError::Rows(error) => Self::Rows(error),
            other => {
                let hint = other.hint();
                Self::request(other.to_string(), hint)
            }
        }
    }
}

/// Measures a white balance. `header` is that of the common grid.
///
/// # Errors
/// When a band is missing, nothing can be measured, a file fails, or the job is
/// stopped: what it was, and what else works.
pub fn measure(
    bands: [Band<'_>; 3],
    header: &Header,
    by: &BalanceBy,
    control: Control<'_>,
) -> Result<Measured, Error> {
    // A table that cannot be read is told before the stars are sought.
    let rows = match by {
        BalanceBy::Catalogue(path) => Some(read_catalogue(path, control)?),
        _ => None,
    };
    let found = match by {
        BalanceBy::Patch(_) => std::array::from_fn(|index| no_stars(bands[index].ceiling)),
        _ => stars_of(&bands, control)?,
    };
    let field = |index: usize| Field {
        rows: bands[index].rows,
        stars: &found[index],
    };
    let broadband = Broadband {
        rgb: [Some(field(0)), Some(field(1)), Some(field(2))],
    };
    let sky = neutral_sky([bands[0].rows, bands[1].rows, bands[2].rows])?;
    let mut tick = control.tick("comparing stars");
    let mut notices = Vec::new();
    let (made, name, file) = match by {
        BalanceBy::Stars => (
            balance::by_stars(&broadband, &mut tick)?,
            BalancedBy::Stars,
            None,
        ),
        BalanceBy::Star(place) => (
            balance::by_star(&broadband, *place)?,
            BalancedBy::Star,
            None,
        ),
        BalanceBy::Patch([x, y, width, height]) => {
            let patch = Patch {
                corner: [*x, *y],
                width: *width,
                height: *height,
            };
            let full = [bands[0].full, bands[1].full, bands[2].full];
            let made = balance::by_patch(&broadband, patch, sky, full)?;
            (made, BalancedBy::Patch, None)
        }
        BalanceBy::Catalogue(path) => {
            let read = rows.unwrap_or_default();
            if read.skipped > 0 {
                notices.push(format!(
                    "{} rows of the catalogue lack a place or a colour",
                    read.skipped
                ));
            }
            let options = CatalogueOptions::default();
            let stars = &read.stars;
            let made = balance::by_catalogue(&broadband, header, stars, &options, &mut tick)?;
            let name = path.file_name().map(|name| name.to_string_lossy().into());
            (made, BalancedBy::Catalogue, name)
        }
    };
    notices.extend(told(&made));
    let measured = made.gains.sigma.iter().any(|sigma| *sigma > 0.0);
    let sky = sky.map(|sky| sky.level);
    let known = sky.iter().all(|level| level.is_finite());
    Ok(Measured {
        balance: Balance {
            gains: made.gains.rgb,
            sky: known.then_some(sky),
            by: name,
            uncertainty: measured.then_some(made.gains.sigma),
            stars: (made.used > 0).then_some(made.used),
            catalogue: file,
        },
        notices,
    })
}

fn read_catalogue(path: &Path, control: Control<'_>) -> Result<Catalogue, Error> {
    let read = catalogue::read(path, &control.tick("reading the catalogue"));
    control.check()?;
    read.map_err(|error| {
        let hint = error.hint.clone();
        Error::request(error.to_string(), hint)
    })
}

// A patch needs none.
fn no_stars(ceiling: Option<f64>) -> Stars {
    Stars {
        stars: Vec::new(),
        fwhm_px: None,
        elongation: None,
        background: f64::NAN,
        background_noise: f64::NAN,
        ceiling,
    }
}

fn stars_of(bands: &[Band<'_>; 3], control: Control<'_>) -> Result<[Stars; 3], Error> {
    let one = |index: usize| {
        let name = ["R", "G", "B"][index];
        let tick = control.tick(format!("{name}: finding stars"));
        let band = &bands[index];
        stars::find(band.rows, band.ceiling, &FindLimits::default(), &tick)
    };
    Ok([one(0)?, one(1)?, one(2)?])
}

// What took no part, and how well the rest agree.
fn told(made: &Found) -> Vec<String> {
    let mut notices = Vec::new();
    let worth_it = |(why, _): &&(Refusal, usize)| *why != Refusal::Unmatched;
    let refused: Vec<String> = made
        .refused
        .iter()
        .filter(worth_it)
        .take(4)
        .map(|(why, count)| format!("{count} {why}"))
        .collect();
    if made.used > 1 {
        let left_out = match refused.is_empty() {
            true => String::new(),
            false => format!("; left out: {}", refused.join(", ")),
        };
        notices.push(format!("white balance on {} stars{left_out}", made.used));
    }
    if let Some(moved) = made.moved_px.filter(|moved| *moved > 3.0) {
        notices.push(format!(
            "the catalogue lay {moved:.1} px beside the stars and was moved"
        ));
    }
    notices
}

/// A recipe whose rendition has this white balance. Where it was measured, red
/// and blue take green's stretch above their own skies, so that equal light
/// stays grey from black to white. None where it would not hold.
pub fn balanced(recipe: &Recipe, rendition: &str, balance: &Balance) -> Option<Recipe> {
    let mut after = recipe.clone();
    let own = after
        .renditions
        .iter_mut()
        .find(|own| own.id == rendition)?;
    own.balance = Some(balance.clone());
    let measured = balance.by != BalancedBy::Hand;
    if let Some(sky) = balance.sky.filter(|_| measured) {
        let green = recipe.band("G")?.stretch.clone();
        for (band, sky_own) in ["R", "G", "B"].into_iter().zip(sky) {
            let id = recipe.band(band)?.id.clone();
            let channel = after.channels.iter_mut().find(|channel| channel.id == id)?;
            channel.stretch = Stretch {
                black: sky_own + (green.black - sky[1]),
                white: sky_own + (green.white - sky[1]),
                ..green.clone()
            };
        }
    }
    check::whole(&after).is_ok().then_some(after)
}

/// The channel whose stretch that of the channel `id` follows, itself among them:
/// green, where a rendition has a white balance that was measured. None where
/// nothing is followed.
pub fn leading<'a>(recipe: &'a Recipe, id: &str) -> Option<&'a str> {
    let measured = |balance: &Balance| balance.by != BalancedBy::Hand && balance.sky.is_some();
    let mut renditions = recipe.renditions.iter();
    let is_balanced = renditions.any(|own| own.balance.as_ref().is_some_and(measured));
    let is_band = ["R", "G", "B"]
        .iter()
        .any(|band| recipe.band(band).is_some_and(|channel| channel.id == id));
    let green = recipe.band("G").map(|channel| channel.id.as_str());
    green.filter(|_| is_balanced && is_band)
}

/// Keeps measured white balances of a recipe true whose channels were stretched anew:
/// red and blue take green's stretch again. Where the sky of one of them is another
/// than in `old`, the balance goes; what a person should know of that.
pub fn kept(old: &Recipe, recipe: &mut Recipe) -> Vec<String> {
    let mut notices = Vec::new();
    for index in 0..recipe.renditions.len() {
        let rendition = &recipe.renditions[index];
        let Some(balance) = rendition.balance.clone() else {
            continue;
        };
        if balance.by == BalancedBy::Hand {
            continue;
        }
        let same_sky = ["R", "G", "B"].iter().all(|band| {
            let own = recipe.band(band);
            let before = own.and_then(|own| old.channel(&own.id));
            own.map(|own| &own.level) == before.map(|before| &before.level)
        });
        let again = same_sky.then(|| balanced(recipe, &rendition.id, &balance));
        match again.flatten() {
            Some(again) => *recipe = again,
            None => {
                notices.push(format!(
                    "the white balance of {} was measured above another sky and is gone: measure it again",
                    rendition.id
                ));
                recipe.renditions[index].balance = None;
            }
        }
    }
    notices
}

/// Measures the white balance of a recipe whose stacks lie in `folder`. The place
/// on the sky is the reference's, also where it is none of R, G and B.
///
/// # Errors
/// As [`measure`]; also when one of these stacks or the reference cannot be had,
/// or when one that is not aligned has another size than the reference.
pub fn of_recipe(
    recipe: &Recipe,
    folder: &Path,
    by: &BalanceBy,
    control: Control<'_>,
) -> Result<Measured, Error> {
    if let Some(missing) = missing_band(recipe) {
        return Err(no_band(missing));
    }
    let at = |band: &str| {
        let id = recipe.band(band).map(|channel| channel.id.as_str());
        recipe
            .channels
            .iter()
            .position(|c| Some(c.id.as_str()) == id)
    };
    let wanted: Vec<usize> = ["R", "G", "B"].into_iter().filter_map(at).collect();
    let mut needed = wanted.clone();
    needed.sort_unstable();
    let locate = |channel: &Channel| Ok(folder.join(&channel.file));
    let opened = inputs::with_reference(recipe, &needed, locate)?;
    let grid = opened.header();
    let opened = opened.inputs;
    let preparation = prepare(recipe, &opened, &needed, control)?;
    // Prepared channels stand in the order of those that were asked for.
    let place = |index: usize| needed.partition_point(|own| *own < index);
    let ceilings: Vec<Option<f64>> = (0..needed.len())
        .map(|at| full::ceiling(recipe, &opened, &preparation, at, control))
        .collect::<Result<_, Error>>()?;
    // Only a patch asks which pixels are full.
    let mut full = [None, None, None];
    if matches!(by, BalanceBy::Patch(_)) {
        for (index, full) in wanted.iter().zip(&mut full) {
            *full = full::marks(recipe, &opened, &preparation, place(*index), control)?;
        }
    }
    let band = |index: usize| {
        let place = place(wanted[index]);
        Band {
            full: full[index].as_ref(),
            rows: &*preparation.channels[place].rows,
            ceiling: ceilings[place],
        }
    };
    let header = moved(&grid, preparation.part.origin);
    let mut measured = measure([band(0), band(1), band(2)], &header, by, control)?;
    measured.notices.splice(0..0, preparation.notices.clone());
    Ok(measured)
}

/// Measures the white balance of channels in memory.
///
/// # Errors
/// As [`measure`].
pub fn of_layers(
    recipe: &Recipe,
    layers: &super::desk::Layers,
    by: &BalanceBy,
    control: Control<'_>,
) -> Result<Measured, Error> {
    let layer = |band: &'static str| {
        let channel = recipe.band(band).ok_or_else(|| no_band(band))?;
        layers.get(&channel.id).map(Arc::clone).ok_or_else(|| {
            Error::request(
                format!("{} is not in memory yet", channel.id),
                "wait until it is read, or bring its file back",
            )
        })
    };
    let [r, g, b] = [layer("R")?, layer("G")?, layer("B")?];
    let band = |layer: &'_ super::desk::Layer| layer.ceiling;
    let ceilings = [band(&r), band(&g), band(&b)];
    let planes = [&*r.plane, &*g.plane, &*b.plane];
    let full = [&r, &g, &b].map(|layer| layer.full.as_deref());
    let bands = std::array::from_fn(|index| Band {
        rows: planes[index],
        ceiling: ceilings[index],
        full: full[index],
    });
    // An unaligned green has a header of its own; the place on the sky is the
    // reference's, where that is in memory on the same grid.
    let reference = recipe.reference().and_then(|own| layers.get(&own.id));
    let header = reference
        .filter(|own| own.origin == g.origin && own.plane.size() == g.plane.size())
        .map_or(&g.header, |own| &own.header);
    measure(bands, header, by, control)
}

fn no_band(missing: &str) -> Error {
    Error::request(
        format!("a white balance needs R, G and B: there is no channel of {missing}"),
        format!("add a stack with `line = \"{missing}\"`, or give the gains as numbers"),
    )
}
