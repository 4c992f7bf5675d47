//! A map of how strong one line is beside another: as numbers with their
//! uncertainties, or as a picture; with a record beside it.

mod fits;

mod picture;

mod record;

mod told;

mod verify;

pub use told::{Told, read as read_record};
pub use verify::verify;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::inputs::{self, Input};
use super::prepare::{Preparation, prepare};
use super::{Control, Error, full};
use crate::engine::crop::Rimless;
use crate::engine::frame::{BAND_ROWS, Rows, Size};
use crate::engine::header::Header;
use crate::engine::lines::line;
use crate::engine::measure::{self, Levels, Sampler, Survey};
use crate::engine::ratio::chance::Squares;
use crate::engine::ratio::criteria::{Criterion, criterion};
use crate::engine::ratio::paint::{Span, check_range};
use crate::engine::ratio::words::{self, Figures};
use crate::engine::ratio::{Counts, Law, Map, Point, Side, chance, noise};
use crate::engine::recipe::text::nearest_hint;
use crate::engine::recipe::{Channel, Ratio, Recipe, Scale};
use crate::io::write::{self, Format, WriteError, atomic};

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Request {
    /// A checked recipe.
    pub recipe: Recipe,
    /// The folder that its files are relative to.
    pub folder: PathBuf,
    /// The recipe's own file, if it has one: no output replaces it.
    pub file: Option<PathBuf>,
    /// Which ratio, and how it is taken: it need not be one of the recipe's.
    pub ratio: Ratio,
    /// The map: FITS, PNG or JPEG by its ending.
    pub out: PathBuf,
}

/// What was made.
#[derive(Debug, Clone)]
pub struct Done {
    /// `[S II]/Hα`
    pub name: String,
    /// Width and height of the map, without what stands around a picture.
    pub size: Size,
    /// The two lines: the one that is divided, then the other.
    pub sides: [Side; 2],
    /// Its numbers.
    pub figures: Figures,
    /// What is published on it.
    pub criterion: Option<&'static Criterion>,
    /// The scale of a picture.
    pub span: Span,
    /// What was found, in sentences.
    pub words: Vec<String>,
    /// What stands against taking it at its word.
    pub caveats: Vec<String>,
    /// The record beside the map.
    pub record: PathBuf,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// What is said of a ratio over what the recipe says.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Wish {
    /// As [`Ratio::min_snr`].
    pub min_snr: Option<f64>,
    /// As [`Ratio::bin`].
    pub bin: Option<u32>,
    /// As [`Ratio::range`].
    pub range: Option<[f64; 2]>,
    /// As [`Ratio::scale`].
    pub scale: Option<Scale>,
}

/// The ratio that `text` names, `OVER/UNDER` or the id of one in the recipe,
/// as it is wished.
///
/// # Errors
/// When there is none, or when it does not hold for the recipe.
pub fn chosen(recipe: &Recipe, text: &str, wish: &Wish) -> Result<Ratio, Error> {
    let mut ratio = match text.split_once('/') {
        Some((over, under)) => {
            let (over, under) = (over.trim(), under.trim());
            Ratio::of(&format!("{over}-{under}"), over, under)
        }
        None => recipe.ratio(text).cloned().ok_or_else(|| {
            let what = format!("the recipe has no ratio `{text}`");
            let ids = recipe.ratios.iter().map(|ratio| ratio.id.as_str());
            let mut hint = "name two channels: OVER/UNDER, as in sii/ha".to_owned();
            if !recipe.ratios.is_empty() {
                hint.push_str(&format!("; or a ratio: {}", nearest_hint(text, ids)));
            }
            Error::request(what, hint)
        })?,
    };
    ratio.min_snr = wish.min_snr.unwrap_or(ratio.min_snr);
    ratio.bin = wish.bin.unwrap_or(ratio.bin);
    ratio.range = wish.range.or(ratio.range);
    ratio.scale = wish.scale.unwrap_or(ratio.scale);
    ratio
        .check(recipe)
        .map_err(|(what, hint)| Error::request(what, hint))?;
    fits_a_scale(&ratio)?;
    Ok(ratio)
}

// Whether a scale can be drawn from one end of its range to the other.
fn fits_a_scale(ratio: &Ratio) -> Result<(), Error> {
    match ratio.range {
        Some(range) => {
            check_range(range, ratio.scale).map_err(|(what, hint)| Error::request(what, hint))
        }
        None => Ok(()),
    }
}

/// Where the record of a map lies: beside it, with `.ratio.json` after its name.
pub fn record_path(out: &Path) -> PathBuf {
    let mut name = out.file_name().unwrap_or_default().to_os_string();
    name.push(".ratio.json");
    out.with_file_name(name)
}

/// Where the file of a channel lies.
type Place<'a> = &'a dyn Fn(&Channel) -> Result<PathBuf, Error>;

/// What all parts of a map's making look at.
struct Made<'a> {
    request: &'a Request,
    over: &'a Channel,
    under: &'a Channel,
    inputs: &'a [Input],
    /// Every file that the map was made from: channel and path.
    files: &'a [(usize, PathBuf)],
    preparation: &'a Preparation,
    /// The grid of the map.
    grid: Header,
    /// The two lines, with the level of their files at which a detector was full.
    sides: [Side; 2],
    law: Law,
    figures: Figures,
    span: Span,
    criterion: Option<&'static Criterion>,
    words: Vec<String>,
    caveats: Vec<String>,
    notices: Vec<String>,
}

/// Makes the map and its record. Either both are there at the end, or neither
/// is new.
///
/// # Errors
/// When channels cannot be prepared, a noise cannot be measured, no pixel has
/// a ratio, or a file cannot be written.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let place = |channel: &Channel| Ok(request.folder.join(&channel.file));
    made(request, &place, control)
}

// The same where files may have moved.
fn made(request: &Request, place: Place<'_>, control: Control<'_>) -> Result<Done, Error> {
    let Request {
        recipe,
        folder,
        ratio,
        out,
        ..
    } = request;
    let refused = |(what, hint)| Error::request(what, hint);
    ratio.check(recipe).map_err(refused)?;
    fits_a_scale(ratio)?;
    let format = kind_of(out)?;
    let record = record_path(out);
    let stacks = recipe.channels.iter().map(|c| folder.join(&c.file));
    let kept: Vec<PathBuf> = stacks.chain(request.file.clone()).collect();
    inputs::spare(&kept, &[out.as_path(), &record])?;
    inputs::spare_composite(out)?;
    atomic::try_place(out)?;

    let index = |id: &str| {
        let found = recipe.channels.iter().position(|channel| channel.id == id);
        found.ok_or_else(|| Error::request(format!("no channel `{id}`"), "name two channels"))
    };
    let [over, under] = [index(&ratio.over)?, index(&ratio.under)?];
    let mut needed = vec![over, under];
    needed.sort_unstable();
    let opened = inputs::with_reference(recipe, &needed, place)?;
    let (grid, files, opened) = (opened.header(), opened.files, opened.inputs);
    let preparation = prepare(recipe, &opened, &needed, control)?;
    let of = |index: usize| preparation.indices.iter().position(|own| *own == index);
    let (Some(one), Some(other)) = (of(over), of(under)) else {
        return Err(Error::request("a channel is missing", "please report it"));
    };
    // Where a frame did not reach is no field.
    let rimless = [one, other].map(|at| Rimless(Arc::clone(&preparation.channels[at].rows)));
    let (over, under) = (&recipe.channels[over], &recipe.channels[under]);
    let mut notices = preparation.notices.clone();
    let mut sides = Vec::new();
    for (channel, at, rows) in [(over, one, &rimless[0]), (under, other, &rimless[1])] {
        control.check()?;
        let prepared = &preparation.channels[at];
        let index = preparation.indices[at];
        let input = opened.iter().find(|input| input.channel == index);
        let survey = measure::glance(rows, None)?;
        notices.extend(remarks(channel, survey.levels, prepared.level.is_some()));
        let mut side = noise::side(&survey).ok_or_else(|| {
            Error::request(
                format!("{}: it has no noise to measure by", channel.id),
                "this works on stacks as a camera makes them; name another channel",
            )
        })?;
        let step = format!("{}: noise", channel.id);
        let mut tick = control.row_tick(step, rows.size().height);
        let found = noise::of_means(rows, &side, ratio.bin as usize, &mut tick);
        control.check()?;
        side.noise = found?;
        side.full = match input {
            Some(input) => full::level(input, &channel.id, control)?,
            None => None,
        };
        sides.push(side);
    }
    let sides = [sides[0], sides[1]];
    // What was full is told by the files; prepared values are not compared.
    let mut rows = Vec::new();
    for (at, rimless) in [one, other].into_iter().zip(rimless) {
        let all: Arc<dyn Rows> = Arc::new(rimless);
        rows.push(full::without(
            recipe,
            &opened,
            &preparation,
            at,
            all,
            control,
        )?);
    }
    let [over_side, under_side] = sides.map(|side| Side { full: None, ..side });
    let law = Law {
        over: over_side,
        under: under_side,
        min_snr: ratio.min_snr,
        bin: ratio.bin as usize,
    };
    let map = Map::new(&*rows[0], &*rows[1], law).ok_or_else(|| {
        Error::request(
            format!("the field is smaller than {0} x {0} pixels", ratio.bin),
            "take means over fewer pixels with --bin",
        )
    })?;
    let criterion = criterion(&over.line, &under.line);
    let (figures, survey) = looked(&map, &law, criterion.and_then(|c| c.mark), control)?;
    known(&figures, ratio, over, under)?;
    let span = span(ratio, &survey, criterion);
    let starless = [one, other].map(|at| preparation.channels[at].continuum.is_some());
    let made = Made {
        words: words::found(ratio, over, under, &figures, criterion),
        caveats: match figures.stands_out {
            true => words::caveats(over, under, criterion, starless),
            false => Vec::new(),
        },
        request,
        over,
        under,
        inputs: &opened,
        files: &files,
        preparation: &preparation,
        grid: fits::grid(&grid, preparation.part.origin, ratio.bin),
        sides,
        law,
        figures,
        span,
        criterion,
        notices,
    };
    match format {
        Format::Fits => {
            let sealed = fits::write(&made, &map, control)?;
            let text = record::text(&made, &map, &sealed.sha256, control)?;
            let beside = atomic::prepare_whole(&record, text.as_bytes())?;
            control.check()?;
            sealed.publish()?;
            beside.publish()?;
        }
        _ => {
            let sealed = picture::write(&made, &map, format, control)?;
            let text = record::text(&made, &map, &sealed.written.sha256, control)?;
            let beside = atomic::prepare_whole(&record, text.as_bytes())?;
            control.check()?;
            sealed.publish()?;
            beside.publish()?;
        }
    }
    Ok(Done {
        name: words::name(over, under),
        size: map.size(),
        sides,
        figures: made.figures,
        criterion,
        span,
        words: made.words,
        caveats: made.caveats,
        record,
        notices: made.notices,
    })
}

fn kind_of(out: &Path) -> Result<Format, Error> {
    let format = write::format_of(out)?;
    if format == Format::Tiff {
        return Err(WriteError::Unsuited {
            path: out.to_owned(),
            what: "a map is not written as TIFF".to_owned(),
            hint: "take .fits for numbers, .png or .jpg for a picture".to_owned(),
        }
        .into());
    }
    Ok(format)
}

/// What makes a channel doubtful in a ratio, in sentences.
pub(in crate::work) fn remarks(
    channel: &Channel,
    levels: Option<Levels>,
    is_leveled: bool,
) -> Vec<String> {
    let mut said = Vec::new();
    if line(&channel.line).is_some_and(|line| line.is_broad()) {
        said.push(format!(
            "{}: {} is a broad band; this is no ratio of lines",
            channel.id, channel.line
        ));
    }
    if let Some(levels) = levels
        && !is_leveled
        && levels.spread > 1.5 * levels.noise
    {
        said.push(format!(
            "{}: its sky varies by {:.1} times its noise, by glow or faint nebula; where it is \
             glow, levelling the channel takes it out and makes faint parts surer",
            channel.id,
            levels.spread / levels.noise
        ));
    }
    said
}

// Counts all of the map, and samples its ratios.
fn looked(
    map: &Map<'_>,
    law: &Law,
    mark: Option<f64>,
    control: Control<'_>,
) -> Result<(Figures, Survey), Error> {
    let size = map.size();
    let mut counts = Counts::default();
    let mut squares = Squares::new(size.width);
    let mut sampler = Sampler::new(size, None);
    let mut band = vec![f32::NAN; size.width * BAND_ROWS.min(size.height)];
    for first_row in (0..size.height).step_by(BAND_ROWS) {
        control.check()?;
        let rows = BAND_ROWS.min(size.height - first_row);
        map.look(first_row, rows, &mut |at, point| {
            counts.take(point, mark);
            squares.take(&point);
            band[at] = match point {
                Point::Known { ratio, .. } => ratio as f32,
                _ => f32::NAN,
            };
        })?;
        sampler.push_band(first_row, size.width, &band[..rows * size.width]);
        let (done, total) = (first_row as u64, size.height as u64);
        control.progress.report("taking ratios", done, total);
    }
    let survey = sampler.finish();
    let quantiles = [0.16, 0.5, 0.84].map(|q| survey.quantile(q).unwrap_or(f64::NAN));
    let figures = Figures {
        pixels: size.pixels() as u64,
        counts,
        quantiles,
        stands_out: chance::stands_out(&counts, &squares, law.min_snr),
    };
    Ok((figures, survey))
}

fn known(figures: &Figures, ratio: &Ratio, over: &Channel, under: &Channel) -> Result<(), Error> {
    let name = words::name(over, under);
    if figures.counts.data == 0 {
        return Err(Error::request(
            format!("{name}: no pixel has data of both lines"),
            "look at the channels with `linehue channels`",
        ));
    }
    if figures.counts.known == 0 {
        return Err(Error::request(
            format!(
                "{name}: nowhere do both lines stand {} sigma above their skies",
                ratio.min_snr
            ),
            "take means over more pixels (--bin 4), ask for less (--min-snr 3), or look whether \
             the sky of each is even",
        ));
    }
    Ok(())
}

fn span(ratio: &Ratio, survey: &Survey, criterion: Option<&Criterion>) -> Span {
    let scale = ratio.scale;
    match ratio.range {
        Some([low, high]) => Span { low, high, scale },
        None => {
            let at = |q| survey.quantile(q).unwrap_or(1.0);
            // Stars, whose light is no line's, lie beyond these.
            Span::fitting(at(0.05), at(0.95), criterion.and_then(|c| c.mark), scale)
        }
    }
}
