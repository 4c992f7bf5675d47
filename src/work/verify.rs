//! Whether a record still holds: the inputs, the composite, the pixels, and
//! what it says of them.

mod claims;

use std::convert::Infallible;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use super::announce::Work;
use super::compose::{Request, ceilings, pick_rendition, pixels};
use super::inputs::{self, Input, folder_of};
use super::needed::{self, Needed};
use super::parts;
use super::ratio;
use super::{Control, Error};
use crate::engine::compose::{Composition, Sink};
use crate::engine::frame::{Coded, CodedBand, Depth};
use crate::engine::reduce::reduced_size;
use crate::io::read::{self, Pick};
use crate::io::record::{self, Record};
use crate::io::write::pixels::PixelHash;

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Check {
    /// What: `input ha`, `composite`, `pixels`, `words, figures`.
    pub what: String,
    /// The file, where it is one.
    pub file: Option<String>,
    /// Whether it holds.
    pub holds: bool,
    /// In words.
    pub detail: String,
}

/// All that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Verdict {
    /// Whether everything holds.
    pub holds: bool,
    /// Each check, in order.
    pub checks: Vec<Check>,
}

/// Looks at everything that `record_path` promises. Inputs are looked for
/// where the record says, then beside it, then in `extra_folder`.
///
/// # Errors
/// When the record cannot be read, or the job is stopped. What does not hold
/// is no error: the verdict says so.
pub fn run(
    record_path: &Path,
    extra_folder: Option<&Path>,
    memory: NonZeroUsize,
    control: Control<'_>,
) -> Result<Verdict, Error> {
    if let Some(extra) = extra_folder.filter(|extra| !extra.is_dir()) {
        return Err(Error::request(
            format!("{}: there is no such folder", extra.display()),
            "name the folder that holds the inputs with --inputs, or leave it out",
        ));
    }
    if let Some(told) = ratio::read_record(record_path)? {
        return ratio::verify(&told, record_path, extra_folder, control);
    }
    let record = record::read(record_path)?;
    let folder = folder_of(record_path);
    let mut checks = Vec::new();
    let mut found = Vec::new();
    for input in &record.inputs {
        let place = find(folder, extra_folder, &input.file);
        let file = (input.channel.as_str(), &input.file, input.sha256.as_str());
        checks.push(check_input(file, place.as_deref(), control)?);
        found.push((input.channel.clone(), place));
    }
    let composite = folder.join(&record.composite.file);
    checks.push(check_composite(&record, &composite, control)?);
    checks.extend(check_again(&record, &composite, &found, memory, control)?);
    let holds = checks.iter().all(|check| check.holds);
    Ok(Verdict { holds, checks })
}

/// Where an input of a record in `folder` lies now: where the record says,
/// beside it, or in `extra_folder`.
pub(super) fn find(folder: &Path, extra_folder: Option<&Path>, file: &str) -> Option<PathBuf> {
    let name = file.rsplit('/').next().unwrap_or(file);
    let mut places = vec![folder.join(file), folder.join(name)];
    places.extend(extra_folder.map(|extra| extra.join(name)));
    places.into_iter().find(|place| place.is_file())
}

/// Whether an input (its channel, its file as the record has it, its SHA-256),
/// found in `place`, is what it was.
pub(super) fn check_input(
    (channel, file, its_sha256): (&str, &String, &str),
    place: Option<&Path>,
    control: Control<'_>,
) -> Result<Check, Error> {
    let (holds, detail) = match place {
        None => (false, "missing; name its folder with --inputs".to_owned()),
        Some(place) => match inputs::sha256(place, control) {
            Ok(hash) if hash == its_sha256 => (true, "unchanged".to_owned()),
            Ok(_) => (false, "changed since the record was made".to_owned()),
            Err(Error::Cancelled) => return Err(Error::Cancelled),
            Err(error) => (false, error.to_string()),
        },
    };
    Ok(Check {
        what: format!("input {channel}"),
        file: Some(file.clone()),
        holds,
        detail,
    })
}

fn check_composite(
    record: &Record,
    composite: &Path,
    control: Control<'_>,
) -> Result<Check, Error> {
    let (holds, detail) = if !composite.is_file() {
        (false, "missing from beside the record".to_owned())
    } else {
        match inputs::sha256(composite, control) {
            Ok(hash) if hash == record.composite.sha256 => (true, "unchanged".to_owned()),
            Ok(_) => match decoded_hash(record, composite) {
                Some(hash) if hash == record.composite.pixels_sha256 => (
                    false,
                    "the file was changed, its pixels were not".to_owned(),
                ),
                Some(_) => (false, "its pixels were changed".to_owned()),
                None => (false, "changed since the record was made".to_owned()),
            },
            Err(Error::Cancelled) => return Err(Error::Cancelled),
            Err(error) => (false, error.to_string()),
        }
    };
    let file = Some(record.composite.file.clone());
    Ok(Check {
        what: "composite".into(),
        file,
        holds,
        detail,
    })
}

// SHA-256 of a composite's decoded samples, for the kinds that can be read back.
fn decoded_hash(record: &Record, composite: &Path) -> Option<String> {
    let depth: Depth = record.composite.depth.parse().ok()?;
    let planes: Vec<_> = (0..3)
        .map(|plane| {
            read::open(
                composite,
                Pick {
                    hdu: None,
                    plane: Some(plane),
                },
            )
        })
        .collect::<Result<_, _>>()
        .ok()?;
    let size = planes.first()?.rows.size();
    let mut hash = PixelHash::new();
    let mut rows = vec![vec![0.0; size.width]; 3];
    for row in 0..size.height {
        for (plane, values) in planes.iter().zip(&mut rows) {
            plane.rows.read(row, values).ok()?;
        }
        let samples = (0..size.width).flat_map(|x| rows.iter().map(move |values| values[x]));
        hash.update(&match depth {
            Depth::Eight => Coded::U8(samples.map(|sample| sample as u8).collect()),
            Depth::Sixteen => Coded::U16(samples.map(|sample| sample as u16).collect()),
            Depth::Float32 => Coded::F32(samples.collect()),
        });
    }
    Some(hash.finish())
}

// The pixels and the record's words, made again.
fn check_again(
    record: &Record,
    composite: &Path,
    found: &[(String, Option<PathBuf>)],
    memory: NonZeroUsize,
    control: Control<'_>,
) -> Result<Vec<Check>, Error> {
    let check = |what: &str, (holds, detail): (bool, String)| Check {
        what: what.to_owned(),
        file: None,
        holds,
        detail,
    };
    let mut checks = Vec::new();
    let missing = found.iter().any(|(_, place)| place.is_none());
    let made = match missing {
        true => None,
        false => Some(again(record, composite, found, memory, control)),
    };
    let (pixels, words) = match made {
        None => {
            let why = "not made again: an input is missing".to_owned();
            ((false, why), claims::of_recipe(record))
        }
        Some(Ok((hash, anew))) => {
            let same = hash == record.composite.pixels_sha256;
            let pixels = match same {
                true => "made again, the same to the last bit",
                false => "made again, and they differ",
            };
            ((same, pixels.to_owned()), claims::all(record, &anew))
        }
        Some(Err(Error::Cancelled)) => return Err(Error::Cancelled),
        Some(Err(error)) => {
            let why = format!("could not be made again: {error}");
            ((false, why), claims::of_recipe(record))
        }
    };
    checks.push(check("pixels", pixels));
    checks.extend(words.map(|words| check("words, figures", words)));
    Ok(checks)
}

// The composite made again: the hash of its pixels, and what its record says.
fn again(
    record: &Record,
    composite: &Path,
    found: &[(String, Option<PathBuf>)],
    memory: NonZeroUsize,
    control: Control<'_>,
) -> Result<(String, Record), Error> {
    let recipe = &record.recipe;
    let rendition = pick_rendition(recipe, Some(&record.rendition))?;
    let depth: Depth = record
        .composite
        .depth
        .parse()
        .map_err(|what: String| Error::request(what, "the record was edited; restore it"))?;
    let composition = Composition::new(recipe, rendition, record.composite.space, depth)?;
    let mut needed = Needed::of(recipe, &composition);
    let recorded = |id: &str| record.inputs.iter().any(|input| input.channel == id);
    needed.ask_only(recipe, recorded);
    // What the first builds cropped to depends on the recorded inputs alone.
    let shaping: Vec<usize> = inputs::shaping(recipe, &needed.all)
        .into_iter()
        .filter(|index| needed.own.contains(index) || recorded(&recipe.channels[*index].id))
        .collect();
    let opened = inputs::open(recipe, &shaping, |channel| {
        found
            .iter()
            .find(|(id, _)| *id == channel.id)
            .and_then(|(_, place)| place.clone())
            .ok_or_else(|| {
                Error::request(
                    format!("the record lists no input for the channel {}", channel.id),
                    "the record was edited; restore it",
                )
            })
    })?;
    let preparation = needed::prepared(recipe, &opened, &needed, control)?;
    let whole = preparation.part.size;
    let long_edge = record.composite.long_edge;
    let reduced = long_edge.and_then(|edge| reduced_size(whole, edge));
    let ceilings = ceilings(&opened, &needed.own);
    let sources = parts::sources(
        recipe,
        rendition,
        &composition,
        &opened,
        &preparation,
        long_edge.filter(|_| reduced.is_some()),
        control,
    )?;
    let request = Request {
        recipe: recipe.clone(),
        folder: folder_of(composite).to_owned(),
        rendition: Some(rendition.id.clone()),
        out: composite.to_owned(),
        space: record.composite.space,
        depth: Some(depth),
        options: Default::default(),
        memory,
        long_edge,
        askable: None,
    };
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let is_reference =
        |input: &&Input| Some(recipe.channels[input.channel].id.as_str()) == reference;
    let work = Work {
        request: &request,
        rendition,
        composition: &composition,
        inputs: &opened,
        preparation: &preparation,
        sources: &sources,
        reference: opened
            .iter()
            .find(is_reference)
            .map(|input| input.facts.size),
        size: reduced.unwrap_or(whole),
    };
    let mut anew = work.announced(control)?;
    if work.reference.is_none() {
        // What was cut away cannot be told without it.
        anew.crop = record.crop;
    }
    let mut sink = Hashing(PixelHash::new());
    let rows = &sources.rows;
    let surveys = pixels(&composition, rows, &ceilings, &mut sink, memory, control)?;
    work.add_measures(&mut anew, &surveys);
    Ok((sink.0.finish(), anew))
}

struct Hashing(PixelHash);

impl Sink for Hashing {
    type Error = Infallible;

    fn put(&mut self, band: CodedBand) -> Result<(), Infallible> {
        self.0.update(&band.samples);
        Ok(())
    }
}
