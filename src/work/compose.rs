//! The main job: a recipe and its stacks become a composite and its record.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use super::inputs::{self, Input, folder_of, relative};
use super::{Control, Error};
use crate::engine::caption::{self, Shown};
use crate::engine::color::oklab::oklch;
use crate::engine::color::space::Space;
use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::color::words::color_name;
use crate::engine::compose::{self, ComposeError, Composition, Run, Sink, Source, Watch};
use crate::engine::exposure::exposure;
use crate::engine::frame::Depth;
use crate::engine::header::Header;
use crate::engine::lines;
use crate::engine::measure::Sampler;
use crate::engine::mix::assign::{Assignment, assignments};
use crate::engine::recipe::{Channel, Recipe, Rendition};
use crate::io::record::{self, AssignmentEntry, Composite, Record, Software, tags};
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
}

/// Memory for bands in flight unless the user says otherwise.
pub const DEFAULT_MEMORY: NonZeroUsize = NonZeroUsize::new(128 << 20).expect("not zero");

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
    let needed: Vec<usize> = composition.channels().collect();
    // The reference lends its grid even where its light takes no part.
    let opened: Vec<usize> = (0..recipe.channels.len())
        .filter(|index| {
            let id = &recipe.channels[*index].id;
            needed.contains(index) || recipe.reference().is_some_and(|r| r.id == *id)
        })
        .collect();
    let inputs = inputs::open(recipe, &opened, |channel| {
        Ok(request.folder.join(&channel.file))
    })?;
    let reference = reference(recipe, &inputs)?;
    let record_path = record::path_for(&request.out);
    let stacks: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| request.folder.join(&channel.file))
        .collect();
    inputs::spare(&stacks, &[&request.out, &record_path])?;

    // All that is said of the picture is known before its pixels are.
    let mut record = Record {
        record: record::VERSION,
        software: Software {
            name: "Linehue".into(),
            version: env!("CARGO_PKG_VERSION").into(),
        },
        made_at: String::new(),
        composite: Composite {
            file: request
                .out
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default(),
            sha256: String::new(),
            pixels_sha256: String::new(),
            width: reference.opened.facts.size.width,
            height: reference.opened.facts.size.height,
            space: request.space,
            depth: depth.name().into(),
        },
        rendition: rendition.id.clone(),
        assignments: entries(recipe, &assignments(recipe, rendition)?),
        inputs: Vec::new(),
        recipe: recipe.clone(),
        caption: caption::Caption {
            short: String::new(),
            long: String::new(),
            alt: String::new(),
        },
        integration_s: None,
        notices: Vec::new(),
    };
    let taking_part: Vec<&Input> = inputs
        .iter()
        .filter(|input| needed.contains(&input.channel))
        .collect();
    for input in &taking_part {
        add_input(&mut record, recipe, input, folder_of(&request.out));
    }
    let total: f64 = record
        .inputs
        .iter()
        .filter_map(|input| input.exposure_s)
        .sum();
    record.integration_s = (total > 0.0).then_some(total);
    let object = tags::object(&record, &reference.opened.facts.header);
    record.caption = caption::write(&recipe.about, &object, &shown(&record));

    let headers: Vec<&Header> = taking_part
        .iter()
        .map(|input| &input.opened.facts.header)
        .collect();
    let description = tags::description(&record, &headers, &reference.opened.facts.header);
    let target = Target {
        path: request.out.clone(),
        format,
        size: reference.opened.facts.size,
        depth,
        space: request.space,
        options: request.options,
        tags: Tags {
            xmp: write::xmp::packet(&description),
            description: description.title.clone(),
            software: description.software.clone(),
            reference: reference.opened.facts.header.clone(),
            history: history(&record),
        },
    };
    let mut writer = Writer::create(target)?;
    let measured = pixels(&composition, &taking_part, &mut writer, request, control)?;
    for (input, measured) in record.inputs.iter_mut().zip(measured) {
        input.sha256 = measured.sha256;
        input.sky = measured.sky;
        input.noise = measured.noise;
    }
    control.check()?;
    // The composite waits, complete and named otherwise, until the record is
    // complete too.
    let sealed = writer.seal()?;
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

fn reference<'a>(recipe: &Recipe, inputs: &'a [Input]) -> Result<&'a Input, Error> {
    let id = recipe.reference().map(|channel| channel.id.as_str());
    inputs
        .iter()
        .find(|input| Some(recipe.channels[input.channel].id.as_str()) == id)
        .ok_or_else(|| Error::request("the recipe has no reference channel", "add a channel"))
}

fn add_input(record: &mut Record, recipe: &Recipe, input: &Input, record_folder: &Path) {
    let channel = &recipe.channels[input.channel];
    let facts = &input.opened.facts;
    let exposed = exposure(&facts.header);
    if channel.exposure_s.is_none()
        && let Some(doubt) = &exposed.doubt
    {
        record.notices.push(format!("{}: {doubt}", channel.id));
    }
    record.notices.extend(
        facts
            .notices
            .iter()
            .map(|notice| format!("{}: {notice}", channel.id)),
    );
    record.inputs.push(record::Input {
        channel: channel.id.clone(),
        file: relative(record_folder, &input.path),
        sha256: String::new(),
        width: facts.size.width,
        height: facts.size.height,
        exposure_s: channel.exposure_s.or(exposed.seconds),
        header: tags::kept(&facts.header),
        sky: None,
        noise: None,
        align: None,
        level: None,
    });
}

fn entries(recipe: &Recipe, assigned: &[Assignment]) -> Vec<AssignmentEntry> {
    assigned
        .iter()
        .map(|assignment| entry(&recipe.channels[assignment.channel], assignment))
        .collect()
}

fn entry(channel: &Channel, assignment: &Assignment) -> AssignmentEntry {
    let line = lines::line(&channel.line);
    let center_nm = channel
        .center_nm
        .or_else(|| line.map(|line| line.center_nm))
        .unwrap_or_default();
    let width_nm = channel
        .width_nm
        .or_else(|| line.and_then(|line| line.width_nm));
    let emission = line.is_some_and(|line| !line.is_broad());
    let also_passes = match width_nm {
        Some(width) if emission => lines::also_passes(&channel.line, center_nm, width)
            .into_iter()
            .map(|passing| passing.line)
            .collect::<std::collections::BTreeSet<_>>()
            .into_iter()
            .collect(),
        _ => Vec::new(),
    };
    AssignmentEntry {
        channel: channel.id.clone(),
        line: line.map_or_else(|| channel.line.clone(), |line| line.id.clone()),
        name: line.map_or_else(String::new, |line| line.name.clone()),
        center_nm,
        width_nm,
        also_passes,
        css: css(assignment.linear_srgb),
        linear_srgb: assignment.linear_srgb,
        oklch: oklch(assignment.linear_srgb),
        color_name: color_name(assignment.linear_srgb).into(),
        natural: assignment.natural,
    }
}

/// The nearest colour that sRGB can show, as `#rrggbb`: hue held, brought to
/// full scale where it is brighter.
pub fn css(linear_srgb: [f64; 3]) -> String {
    let weights = Space::Srgb.luminance_weights().map(|weight| weight as f32);
    let held = crate::engine::finish::gamut::hold_hue(linear_srgb.map(|c| c as f32), weights);
    let [r, g, b] = held.map(|light| (srgb_encode_exact(f64::from(light)) * 255.0).round() as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn shown(record: &Record) -> Vec<Shown> {
    record
        .inputs
        .iter()
        .filter_map(|input| {
            let channel = record.recipe.channel(&input.channel)?;
            let line = lines::line(&channel.line)?;
            let entry = record
                .assignments
                .iter()
                .find(|entry| entry.channel == input.channel);
            Some(Shown {
                name: line.name.clone(),
                center_nm: channel.center_nm.unwrap_or(line.center_nm),
                width_nm: channel.width_nm,
                broad: line.is_broad(),
                also_passes: entry.map_or_else(Vec::new, |entry| {
                    entry
                        .also_passes
                        .iter()
                        .filter_map(|id| Some(lines::line(id)?.symbol.clone()))
                        .collect()
                }),
                color_name: entry.map(|entry| match entry.color_name.as_str() {
                    "Grayscale" => "white".to_owned(),
                    word => word.to_lowercase(),
                }),
                natural: entry.is_some_and(|entry| entry.natural),
                exposure_s: input.exposure_s,
            })
        })
        .collect()
}

// HISTORY lines of a FITS composite.
fn history(record: &Record) -> Vec<String> {
    let mut lines = vec![format!(
        "Linehue {}: rendition {}, linear {} light",
        record.software.version,
        record.rendition,
        record.composite.space.title()
    )];
    for channel in &record.recipe.channels {
        let Some(entry) = record
            .assignments
            .iter()
            .find(|entry| entry.channel == channel.id)
        else {
            continue;
        };
        let stretch = &channel.stretch;
        let [r, g, b] = entry.linear_srgb;
        lines.push(format!(
            "{} ({}) from {}",
            entry.channel, entry.line, channel.file
        ));
        lines.push(format!(
            "  stretch {:?} black {} white {} amount {}",
            stretch.shape,
            stretch.black,
            stretch.white,
            stretch
                .amount
                .map_or_else(|| "-".into(), |amount| amount.to_string())
        ));
        lines.push(format!("  color {} = linear sRGB {r} {g} {b}", entry.css));
    }
    lines.push(format!(
        "The whole recipe is in {}.record.json",
        record.composite.file
    ));
    lines
}

/// What is measured of an input while its pixels go by.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    /// SHA-256 of its file.
    pub sha256: String,
    /// Level of the sky.
    pub sky: Option<f64>,
    /// Noise of one pixel.
    pub noise: Option<f64>,
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

    fn put(&mut self, band: crate::engine::frame::CodedBand) -> Result<(), Self::Error> {
        Self::put(self, band)
    }
}

fn pixels(
    composition: &Composition,
    inputs: &[&Input],
    writer: &mut Writer,
    request: &Request,
    control: Control<'_>,
) -> Result<Vec<Measured>, Error> {
    let Some(first) = inputs.first() else {
        return Ok(Vec::new());
    };
    let size = first.opened.facts.size;
    let depth = composition.depth();
    let mut watching: Vec<Sampling> = inputs
        .iter()
        .map(|input| Sampling {
            width: size.width,
            sampler: Sampler::new(size, input.opened.facts.ceiling),
        })
        .collect();
    let step_rows = compose::rows_in_flight(size, inputs.len(), depth, request.memory);
    let hashes = hash_beside(inputs, control, || {
        let mut sources: Vec<Source<'_>> = inputs
            .iter()
            .zip(&mut watching)
            .map(|(input, watch)| Source {
                rows: &*input.opened.rows,
                watch: Some(watch),
            })
            .collect();
        let run = Run {
            cancel: control.cancel,
            progress: &|row| {
                control
                    .progress
                    .report("composing", row as u64, size.height as u64)
            },
        };
        compose::compose(composition, &mut sources, writer, step_rows, &run).map_err(|error| {
            match error {
                ComposeError::Cancelled => Error::Cancelled,
                ComposeError::Rows(error) => error.into(),
                ComposeError::Sink(error) => error.into(),
            }
        })
    })?;
    let mut measured = Vec::new();
    for (watch, sha256) in watching.into_iter().zip(hashes) {
        let survey = watch.sampler.finish();
        measured.push(Measured {
            sha256,
            sky: survey.levels.map(|levels| levels.sky),
            noise: survey.levels.map(|levels| levels.noise),
        });
    }
    Ok(measured)
}

/// Runs `work` while other threads hash the inputs' files; a file that serves
/// several channels is hashed once.
///
/// # Errors
/// Those of `work`, then those of hashing.
pub fn hash_beside(
    inputs: &[&Input],
    control: Control<'_>,
    work: impl FnOnce() -> Result<(), Error> + Send,
) -> Result<Vec<String>, Error> {
    let found: Mutex<BTreeMap<&Path, Result<String, Error>>> = Mutex::new(BTreeMap::new());
    let paths: std::collections::BTreeSet<&Path> =
        inputs.iter().map(|input| input.path.as_path()).collect();
    let mut worked = Ok(());
    rayon::scope(|scope| {
        for path in paths {
            let found = &found;
            scope.spawn(move |_| {
                let hash = inputs::sha256(path, control);
                if let Ok(mut found) = found.lock() {
                    found.insert(path, hash);
                }
            });
        }
        worked = work();
    });
    worked?;
    let mut found = found.into_inner().unwrap_or_default();
    let mut hashes = Vec::new();
    for input in inputs {
        match found.get_mut(input.path.as_path()) {
            Some(Ok(hash)) => hashes.push(hash.clone()),
            Some(failed) => {
                return Err(std::mem::replace(failed, Ok(String::new()))
                    .err()
                    .unwrap_or(Error::Cancelled));
            }
            None => return Err(Error::Cancelled),
        }
    }
    Ok(hashes)
}
