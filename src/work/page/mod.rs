//! A page to hand on: the picture, mapped against natural, with key, caption,
//! tables and records, as a folder or as one file of plain HTML that asks no
//! network for anything.

mod along;

mod composite;

mod content;

mod data;

mod files;

mod html;

mod pictures;

mod subject;

mod table;

mod write;

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use super::inputs::spare;
use super::key::Subject;
use super::{Control, Error, caption};
use crate::engine::caption::Template;
use crate::io::write::{Format, Options, atomic};
use files::Staging;

/// What a page is made from.
#[derive(Debug, Clone, PartialEq)]
pub enum Source {
    /// Records of one recipe, one or two. The pictures are composed from their
    /// inputs where these are at hand, else taken from the composites.
    Records {
        /// The records.
        paths: Vec<PathBuf>,
        /// A folder to look for inputs in that are not where a record says.
        inputs: Option<PathBuf>,
    },
    /// A recipe; the page's pictures get records of their own.
    Recipe(Box<Subject>),
}

/// What is to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// What from.
    pub source: Source,
    /// Ids of renditions, one or two, in this order; empty: the record's or the
    /// first, and one that differs from it in whether its colours are natural.
    pub renditions: Vec<String>,
    /// A folder; one file where the name ends in `.html`.
    pub out: PathBuf,
    /// Pixels of the pictures' longer side; never enlarged.
    pub long_edge: usize,
    /// JPEG or PNG.
    pub format: Format,
    /// Quality, for JPEG.
    pub options: Options,
    /// Whether the composites go along as they are.
    pub with_composite: bool,
    /// Captions in words of one's own or another language.
    pub template: Option<PathBuf>,
}

/// Lengths that the longer side of a page's picture can have, pixels.
pub const LONG_EDGES: RangeInclusive<usize> = 320..=8192;

/// The length that suits most screens.
pub const LONG_EDGE: usize = 2048;

/// What was made.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// Ids of the renditions that are shown.
    pub renditions: Vec<String>,
    /// Bytes of everything.
    pub bytes: u64,
    /// What a person should know.
    pub notices: Vec<String>,
}

/// Whether a page with this name is one file.
pub fn is_one_file(out: &Path) -> bool {
    let ending = out.extension().unwrap_or_default().to_ascii_lowercase();
    ending == "html" || ending == "htm"
}

/// Says before any work what stands in a page's way. Gives whether something
/// would be replaced: a page, or the file of that name.
///
/// # Errors
/// The reason, with a way out.
pub fn check(out: &Path, inputs: &[PathBuf]) -> Result<bool, Error> {
    if !is_one_file(out) {
        return files::check(out, inputs);
    }
    spare(inputs, &[out])?;
    atomic::try_place(out)?;
    Ok(out.exists())
}

/// Makes the page.
///
/// # Errors
/// [`Error`]; nothing is left half-written, and an old page stays as it was.
pub fn run(request: &Request, control: Control<'_>) -> Result<Done, Error> {
    let subject = subject::read(request)?;
    check(&request.out, &subject.inputs)?;
    let template = caption::template_of(request.template.as_deref())?;
    let staging = Staging::new(&request.out)?;
    let hidden = staging.folder();
    gathered(request, &subject, &template, staging, control)
        .map_err(|error| Staging::named(&hidden, &request.out, error))
}

fn gathered(
    request: &Request,
    subject: &subject::Subject,
    template: &Template,
    mut staging: Staging,
    control: Control<'_>,
) -> Result<Done, Error> {
    let one_file = is_one_file(&request.out);
    let shown = pictures::make(subject, request, &mut staging, control)?;
    let mut notices = shown.notices.clone();
    let content = content::gather(subject, shown, template)?;
    control.check()?;
    let text = write::page(&content, &staging, one_file)?;
    let bytes = if one_file {
        atomic::write_whole(&request.out, text.as_bytes())?;
        text.len() as u64
    } else {
        staging.add("index.html", text.as_bytes())?;
        control.check()?;
        staging.publish(&request.out, &content.title)?
    };
    notices.dedup();
    Ok(Done {
        renditions: content.parts.into_iter().map(|part| part.id).collect(),
        bytes,
        notices,
    })
}
