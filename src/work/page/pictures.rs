//! The pictures of a page: composed from the inputs, or taken from the
//! composites where these are gone.

use std::fs;
use std::path::Path;

use super::along::{Download, along, own_composite, record_at};
use super::composite;
use super::files::Staging;
use super::subject::{Given, Subject};
use super::{Request, Source, is_one_file};
use crate::engine::compose::Composition;
use crate::engine::frame::{Coded, Depth, Size};
use crate::io::draw::file;
use crate::io::record::{self, Record, tags};
use crate::io::write::{Format, Target, WriteError, atomic, format_of};
use crate::work::compose::{self, DEFAULT_MEMORY, pick_rendition};
use crate::work::inputs::{folder_of, relative};
use crate::work::needed::Needed;
use crate::work::{Control, Error};

/// A rendition as a page shows it.
pub struct Picture {
    /// Id of the rendition.
    pub id: String,
    /// The picture's file.
    pub file: String,
    /// Its size.
    pub size: Size,
    /// What is known of it.
    pub record: Record,
    /// Whether it was taken from the composite, not composed.
    pub taken: bool,
    /// What can be had of it: its record, its composite.
    pub downloads: Vec<Download>,
}

/// All pictures of a page.
pub struct Shown {
    /// One or two.
    pub pictures: Vec<Picture>,
    /// Why there is but one.
    pub alone: Option<String>,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Makes the pictures and gathers what goes along with them.
///
/// # Errors
/// [`Error`]; a second rendition of a record that cannot be had is left out
/// with the reason.
pub fn make(
    subject: &Subject,
    request: &Request,
    staging: &mut Staging,
    control: Control<'_>,
) -> Result<Shown, Error> {
    let mut shown = Shown {
        pictures: Vec::new(),
        alone: subject.alone.clone(),
        notices: Vec::new(),
    };
    for id in &subject.renditions {
        control.check()?;
        let made = one(subject, request, id, staging, &mut shown.notices, control);
        let lenient = matches!(request.source, Source::Records { .. });
        match made {
            Ok(picture) => shown.pictures.push(picture),
            Err(Error::Cancelled) => return Err(Error::Cancelled),
            Err(error) if lenient && !shown.pictures.is_empty() => {
                shown.alone = Some(format!("{id} could not be made again: {error}"));
            }
            Err(error) => return Err(error),
        }
    }
    if let [first, second] = shown.pictures.as_slice()
        && first.size != second.size
    {
        shown.alone = Some(format!(
            "{} is {}, {} is {}: they do not lie on each other",
            first.id, first.size, second.id, second.size
        ));
        for file in shown.pictures.pop().iter().flat_map(Picture::files) {
            staging.discard(file)?;
        }
    }
    if let Some(why) = &shown.alone {
        let notice = format!("one rendition is shown, without a comparison: {why}");
        shown.notices.push(notice);
    }
    for picture in &mut shown.pictures {
        for file in picture.files() {
            staging.keep(file);
        }
        if let Some(given) = subject.given(&picture.id) {
            picture.downloads = along(given, request, staging, control)?;
        }
    }
    Ok(shown)
}

impl Picture {
    fn files(&self) -> impl Iterator<Item = &str> {
        let more = self.downloads.iter().map(|download| &*download.file);
        std::iter::once(&*self.file).chain(more)
    }
}

fn one(
    subject: &Subject,
    request: &Request,
    id: &str,
    staging: &Staging,
    notices: &mut Vec<String>,
    control: Control<'_>,
) -> Result<Picture, Error> {
    let composed = composed(subject, request, id, staging, control);
    let error = match composed {
        Ok((picture, more)) => {
            notices.extend(more);
            return Ok(picture);
        }
        Err(Error::Cancelled) => return Err(Error::Cancelled),
        Err(error) => error,
    };
    let Some(given) = subject.given(id) else {
        return Err(error);
    };
    let picture = taken(given, request, staging, control)?;
    notices.push(format!(
        "{id} is taken from its composite; it could not be composed: {error}"
    ));
    Ok(picture)
}

fn name_of(id: &str, format: Format) -> String {
    let ending = if format == Format::Png { "png" } else { "jpg" };
    format!("{id}.{ending}")
}

// Composes at the page's size, with the same function as `compose`.
fn composed(
    subject: &Subject,
    request: &Request,
    id: &str,
    staging: &Staging,
    control: Control<'_>,
) -> Result<(Picture, Vec<String>), Error> {
    let recipe = subject.recipe_of(id);
    let rendition = pick_rendition(recipe, Some(id))?;
    let space = subject.space(id);
    let composition = Composition::new(recipe, rendition, space, Depth::Eight)?;
    let reference = recipe.reference().map(|reference| reference.id.as_str());
    let askable = subject.askable(id);
    let mut needed = Needed::of(recipe, &composition);
    if let Some(askable) = &askable {
        needed.ask_only(recipe, |id| askable.iter().any(|other| other == id));
    }
    let needed: Vec<&str> = needed
        .all
        .into_iter()
        .filter_map(|index| Some(recipe.channels.get(index)?.id.as_str()))
        .chain(reference)
        .collect();
    if let Some(gone) = subject.missing.iter().find(|id| needed.contains(&&***id)) {
        return Err(Error::request(
            format!("the input of the channel {gone} is not at hand"),
            "name its folder with --inputs",
        ));
    }
    let file = name_of(id, request.format);
    let done = compose::run(
        &compose::Request {
            recipe: recipe.clone(),
            folder: subject.folder.clone(),
            rendition: Some(id.to_owned()),
            out: staging.at(&file),
            space,
            depth: Some(Depth::Eight),
            options: request.options,
            memory: DEFAULT_MEMORY,
            long_edge: Some(request.long_edge),
            askable,
        },
        control,
    )?;
    let mut record = done.record;
    let size = Size {
        width: record.composite.width,
        height: record.composite.height,
    };
    let mut downloads = Vec::new();
    if subject.given.is_empty() {
        if is_one_file(&request.out) {
            seen_from_page(&mut record, subject, &request.out);
            let text = record::write(&record).map_err(std::io::Error::other);
            let text = text.map_err(WriteError::disk(&request.out))?;
            atomic::write_whole(&done.record_path, text.as_bytes())?;
        }
        downloads.push(record_at(format!("{file}.record.json")));
    } else {
        // It is not the picture that the given record tells of.
        fs::remove_file(&done.record_path).map_err(WriteError::disk(&done.record_path))?;
        unchanged(subject, &record)?;
    }
    let notices = record.notices.clone();
    let given = subject.given(id).map(|given| given.record.clone());
    let picture = Picture {
        id: id.to_owned(),
        file,
        size,
        record: given.unwrap_or(record),
        taken: false,
        downloads,
    };
    Ok((picture, notices))
}

// A page of one file does not lie in the hidden folder: the ways to the inputs
// are those from the page itself.
fn seen_from_page(record: &mut Record, subject: &Subject, out: &Path) {
    for input in &mut record.inputs {
        if let Some(channel) = subject.recipe.channel(&input.channel) {
            let path = subject.folder.join(&channel.file);
            input.file = relative(folder_of(out), &path);
        }
    }
}

// Inputs that changed since the record was made give another picture.
fn unchanged(subject: &Subject, made: &Record) -> Result<(), Error> {
    for input in &made.inputs {
        let known = subject.given.iter().find_map(|given| {
            let mut inputs = given.record.inputs.iter();
            inputs.find(|own| own.channel == input.channel)
        });
        if known.is_some_and(|own| own.sha256 != input.sha256) {
            return Err(Error::request(
                format!(
                    "the input of the channel {} changed since the record was made",
                    input.channel
                ),
                "name the folder of the old one with --inputs",
            ));
        }
    }
    Ok(())
}

// The composite beside the record, at the page's size.
fn taken(
    given: &Given,
    request: &Request,
    staging: &Staging,
    control: Control<'_>,
) -> Result<Picture, Error> {
    let path = own_composite(given, control)?;
    let small = composite::read(&path, request.long_edge, control)?;
    let record = given.record.clone();
    let id = record.rendition.clone();
    let file = match format_of(&path) {
        Ok(format) if small.as_it_is => name_of(&id, format),
        _ => name_of(&id, request.format),
    };
    let out = staging.at(&file);
    if small.as_it_is {
        fs::copy(&path, &out).map_err(WriteError::disk(&out))?;
    } else {
        let about = &record.recipe.about;
        let target = Target {
            format: format_of(&out)?,
            path: out,
            size: small.size,
            depth: Depth::Eight,
            space: small.space,
            options: request.options,
            tags: file::tags(&tags::object(&record), &record.caption.alt, about),
        };
        file::put(target, Coded::U8(small.codes))?;
    }
    Ok(Picture {
        id,
        file,
        size: small.size,
        record,
        taken: true,
        downloads: Vec::new(),
    })
}
