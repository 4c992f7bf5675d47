//! The main job: a recipe and its stacks become a composite and its record.

use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use super::announce::Work;
use super::describe;
use super::inputs::{self, Input};
use super::needed::{self, Needed};
use super::parts;
use super::{Control, Error};
use crate::engine::color::space::Space;
use crate::engine::compose::{self, ComposeError, Composition, Run, Sink, Source, Watch};
use crate::engine::frame::{CodedBand, Depth, Rows};
use crate::engine::header::Header;
use crate::engine::measure::{Sampler, Survey};
use crate::engine::recipe::{Channel, Recipe, Rendition};
use crate::engine::reduce::{Window, reduced_size};
use crate::engine::wcs::{moved, scaled};
use crate::io::record::{self, Record, tags};
use crate::io::write::{self, Format, Options, Tags, Target, Writer};

/// What is to be made.
#[derive(Debug, Clone)]
pub struct Request {
    /// A checked recipe.
    pub recipe: Recipe,
    /// The folder that its files are relative to.
    pub folder: PathBuf,
    /// Id of the rendition; None: the first.
    pub rendition: Option<String>,
    /// The composite; its ending tells the format.
    pub out: PathBuf,
    /// The output space.
    pub space: Space,
    /// How samples are kept; None: what the format is mostly used with.
    pub depth: Option<Depth>,
    /// How to pack.
    pub options: Options,
    /// Bytes that bands in flight may take.
    pub memory: NonZeroUsize,
    /// The length in pixels that the longer side is brought to; None, or not
    /// below the picture's own: its size stays.
    pub long_edge: Option<usize>,
    /// Ids of the channels that may be asked where stars are beside the picture's own;
    /// None: whatever the recipe has.
    pub askable: Option<Vec<String>>,
}

/// Memory for bands in flight unless the user says otherwise.
pub const DEFAULT_MEMORY: NonZeroUsize = NonZeroUsize::new(32 << 20).expect("not zero");

/// What was made.
#[derive(Debug, Clone)]
pub struct Done {
    /// The record, as it was written.
    pub record: Record,
    /// Where it lies.
    pub record_path: PathBuf,
}

/// The depth that a format is mostly used with.
pub fn usual_depth(format: Format) -> Depth {
    match format {
        Format::Tiff | Format::Png => Depth::Sixteen,
        Format::Jpeg => Depth::Eight,
        Format::Fits => Depth::Float32,
    }
}

/// The rendition called `id`, or the first.
///
/// # Errors
/// When there is none of that name; the hint lists them.
pub fn pick_rendition<'a>(recipe: &'a Recipe, id: Option<&str>) -> Result<&'a Rendition, Error> {
    let picked = match id {
        Some(id) => recipe.rendition(id),
        None => recipe.renditions.first(),
    };
    picked.ok_or_else(|| {
        let ids: Vec<&str> = recipe.renditions.iter().map(|r| r.id.as_str()).collect();
        Error::request(
            format!("the recipe has no rendition `{}`", id.unwrap_or_default()),
            format!("it has {}", ids.join(", ")),
        )
    })
}

/// Makes the composite and its record. Either both are there at the end, or
/// neither is new.
///
/// # Errors
/// [`Error`]; nothing is left half-written.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let recipe = &request.recipe;
    let rendition = pick_rendition(recipe, request.rendition.as_deref())?;
    let format = write::format_of(&request.out)?;
    let depth = request.depth.unwrap_or_else(|| usual_depth(format));
    let composition = Composition::new(recipe, rendition, request.space, depth)?;
    let mut needed = Needed::of(recipe, &composition);
    if let Some(askable) = &request.askable {
        needed.ask_only(recipe, |id| askable.iter().any(|other| other == id));
    }
    let record_path = record::path_for(&request.out);
    let locate = |channel: &Channel| request.folder.join(&channel.file);
    let stacks: Vec<PathBuf> = recipe.channels.iter().map(locate).collect();
    let left_out = needed.leave_out(recipe, |channel| Ok(locate(channel)));
    inputs::spare(&stacks, &[&request.out, &record_path])?;
    inputs::spare_map(&request.out)?;
    let opened = inputs::with_reference(recipe, &needed.all, |channel| Ok(locate(channel)))?;
    let inputs = opened.inputs;
    let reference = opened
        .reference
        .ok_or_else(|| Error::request("the recipe has no reference channel", "add a channel"))?;

    let preparation = needed::prepared(recipe, &inputs, &needed, control)?;
    let part = preparation.part;
    let long_edge = request
        .long_edge
        .filter(|edge| reduced_size(part.size, *edge).is_some());
    let size = long_edge.and_then(|edge| reduced_size(part.size, edge));
    let size = size.unwrap_or(part.size);
    let ceilings = ceilings(&inputs, &needed.own);
    let sources = parts::sources(
        recipe,
        rendition,
        &composition,
        &inputs,
        &preparation,
        long_edge,
        control,
    )?;
    let grid = scaled(
        &moved(&reference.header, part.origin),
        Window::whole(part.size, size).step,
    );
    let work = Work {
        request,
        rendition,
        composition: &composition,
        inputs: &inputs,
        preparation: &preparation,
        sources: &sources,
        reference: Some(reference.size),
        size,
    };
    let mut record = work.announced(control)?;
    record.notices.extend(left_out);
    let headers: Vec<&Header> = inputs.iter().map(|input| &input.facts.header).collect();
    let description = tags::description(&record, &headers, &grid);
    let target = Target {
        path: request.out.clone(),
        format,
        size,
        depth,
        space: request.space,
        options: request.options,
        tags: Tags {
            xmp: write::xmp::packet(&description),
            description: description.title.clone(),
            software: description.software.clone(),
            reference: grid,
            history: describe::history(&record),
        },
    };
    let mut writer = Writer::create(target)?;
    let surveys = pixels(
        &composition,
        &sources.rows,
        &ceilings,
        &mut writer,
        request.memory,
        control,
    )?;
    control.check()?;
    // While the composite goes to the disk (it waits there, complete, until the
    // record is complete too), the inputs are hashed from the system's cache.
    let (sealed, hashes) = rayon::join(|| writer.seal(), || hashes(&inputs, control));
    let (sealed, hashes) = (sealed?, hashes?);
    for (entry, sha256) in record.inputs.iter_mut().zip(hashes) {
        entry.sha256 = sha256;
    }
    work.add_measures(&mut record, &surveys);
    record.composite.sha256 = sealed.written.sha256.clone();
    record.composite.pixels_sha256 = sealed.written.pixels_sha256.clone();
    record.made_at = jiff::Timestamp::now()
        .strftime("%Y-%m-%dT%H:%M:%SZ")
        .to_string();
    let text = record::write(&record).map_err(|error| {
        Error::request(
            format!("the record cannot be written: {error}"),
            "a number in a header is not finite; please report it",
        )
    })?;
    let record_file = write::atomic::prepare_whole(&record_path, text.as_bytes())?;
    sealed.publish()?;
    record_file.publish()?;
    Ok(Done {
        record,
        record_path,
    })
}

/// The values at which the detectors of the channels `needed` were full.
pub(super) fn ceilings(inputs: &[Input], needed: &[usize]) -> Vec<Option<f64>> {
    inputs
        .iter()
        .filter(|input| needed.contains(&input.channel))
        .map(|input| input.facts.ceiling)
        .collect()
}

struct Sampling {
    width: usize,
    sampler: Sampler,
}

impl Watch for Sampling {
    fn see(&mut self, first_row: usize, values: &[f32]) {
        self.sampler.push_band(first_row, self.width, values);
    }
}

impl Sink for Writer {
    type Error = write::WriteError;

    fn put(&mut self, band: CodedBand) -> Result<(), Self::Error> {
        Self::put(self, band)
    }
}

// Composes into the sink; the result is what was seen of each channel, whose
// rows come first.
pub(super) fn pixels<S: Sink>(
    composition: &Composition,
    rows: &[Arc<dyn Rows>],
    ceilings: &[Option<f64>],
    sink: &mut S,
    memory: NonZeroUsize,
    control: Control<'_>,
) -> Result<Vec<Survey>, Error>
where
    S::Error: Into<Error>,
{
    let Some(first) = rows.first() else {
        return Ok(Vec::new());
    };
    let size = first.size();
    let mut watching: Vec<Sampling> = ceilings
        .iter()
        .map(|ceiling| Sampling {
            width: size.width,
            sampler: Sampler::glance(size, *ceiling),
        })
        .collect();
    let mut watches = watching.iter_mut();
    let mut sources: Vec<Source<'_>> = rows
        .iter()
        .map(|rows| Source {
            rows: &**rows,
            watch: watches.next().map(|watch| watch as &mut dyn Watch),
        })
        .collect();
    let step_rows = compose::rows_in_flight(size, rows.len(), composition.depth(), memory);
    let run = Run {
        cancel: control.cancel,
        progress: &|row| {
            control
                .progress
                .report("composing", row as u64, size.height as u64);
        },
    };
    compose::compose(composition, &mut sources, sink, step_rows, &run)?;
    Ok(watching
        .into_par_iter()
        .map(|watch| watch.sampler.finish())
        .collect())
}

impl<E: Into<Error>> From<ComposeError<E>> for Error {
    fn from(error: ComposeError<E>) -> Self {
        match error {
            ComposeError::Cancelled => Self::Cancelled,
            ComposeError::Rows(error) => error.into(),
            ComposeError::Sink(error) => error.into(),
        }
    }
}

// SHA-256 of each input's file, in parallel; a file that serves several
// channels is read once.
fn hashes(inputs: &[Input], control: Control<'_>) -> Result<Vec<String>, Error> {
    let mut paths: Vec<&Path> = inputs.iter().map(|input| input.path.as_path()).collect();
    paths.sort_unstable();
    paths.dedup();
    let found: Vec<(&Path, String)> = paths
        .into_par_iter()
        .map(|path| Ok((path, inputs::sha256(path, control)?)))
        .collect::<Result<_, Error>>()?;
    let of = |input: &Input| {
        found
            .iter()
            .find(|(path, _)| *path == input.path)
            .map(|(_, hash)| hash.clone())
    };
    Ok(inputs.iter().filter_map(of).collect())
}
