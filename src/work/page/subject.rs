//! What a page speaks of: a recipe, the renditions that are shown, and what
//! lies at hand of them.

use std::path::{Path, PathBuf};

use super::{LONG_EDGES, Request, Source};
use crate::engine::color::space::Space;
use crate::engine::recipe::Recipe;
use crate::io::read::ReadError;
use crate::io::record::{self, Record};
use crate::io::write::Format;
use crate::work::compose::pick_rendition;
use crate::work::inputs::folder_of;
use crate::work::key::facts::facts;
use crate::work::{Error, caption, verify};

/// What a page speaks of.
pub struct Subject {
    /// The recipe, its files as they were found.
    pub recipe: Recipe,
    /// What files that were not found are relative to.
    pub folder: PathBuf,
    /// Channels whose files are not at hand, by id.
    pub missing: Vec<String>,
    /// Ids of the renditions, one or two.
    pub renditions: Vec<String>,
    /// Why there is but one, where that was not asked for.
    pub alone: Option<String>,
    /// The records that were given.
    pub given: Vec<Given>,
    /// Files that no output may replace.
    pub inputs: Vec<PathBuf>,
}

/// A record that was given.
pub struct Given {
    /// Its file.
    pub path: PathBuf,
    /// Its text, byte for byte.
    pub bytes: Vec<u8>,
    /// What it says.
    pub record: Record,
    /// Its recipe, files as they were found.
    pub recipe: Recipe,
}

impl Given {
    fn read(path: &Path) -> Result<Self, Error> {
        let mut record = record::read(path)?;
        let bytes = std::fs::read(path).map_err(|error| ReadError::System {
            path: path.to_owned(),
            what: error.to_string(),
        })?;
        caption::rendition_of(&record, path)?;
        caption::name_shown(&mut record)?;
        Ok(Self {
            path: path.to_owned(),
            bytes,
            recipe: record.recipe.clone(),
            record,
        })
    }

    /// Where its composite lies; None where the record names a place elsewhere.
    pub fn composite(&self) -> Option<PathBuf> {
        let name = Path::new(&self.record.composite.file);
        let plain = name.file_name() == Some(name.as_os_str());
        plain.then(|| folder_of(&self.path).join(name))
    }
}

impl Subject {
    /// The record that was given of a rendition.
    pub fn given(&self, rendition: &str) -> Option<&Given> {
        let mut given = self.given.iter();
        given.find(|given| given.record.rendition == rendition)
    }

    /// Who may be asked where a rendition's stars are: where it was made before, those
    /// who were asked then; ids.
    pub fn askable(&self, rendition: &str) -> Option<Vec<String>> {
        let given = self.given(rendition)?;
        let inputs = given.record.inputs.iter();
        Some(inputs.map(|input| input.channel.clone()).collect())
    }

    /// The recipe of a rendition: its own record's, or the one of all.
    pub fn recipe_of(&self, rendition: &str) -> &Recipe {
        self.given(rendition)
            .map_or(&self.recipe, |given| &given.recipe)
    }

    /// The space that a rendition is to be in.
    pub fn space(&self, rendition: &str) -> Space {
        let own = self.given(rendition).or(self.given.first());
        own.map_or(Space::Srgb, |given| given.record.composite.space)
    }
}

/// Reads what the request names and decides what is shown.
///
/// # Errors
/// When a file cannot be read, when records do not belong together, or when the
/// request asks for what cannot be.
pub fn read(request: &Request) -> Result<Subject, Error> {
    if !LONG_EDGES.contains(&request.long_edge) {
        return Err(Error::request(
            format!("{} pixels are no long edge of a page", request.long_edge),
            format!("choose from {} to {}", LONG_EDGES.start(), LONG_EDGES.end()),
        ));
    }
    if !matches!(request.format, Format::Jpeg | Format::Png) {
        return Err(Error::request(
            format!("browsers do not show {}", request.format.name()),
            "choose JPEG or PNG",
        ));
    }
    let mut subject = match &request.source {
        Source::Recipe(subject) => {
            if request.with_composite {
                return Err(Error::request(
                    "a recipe has no composite that could go along",
                    "compose it first, then make the page from the record",
                ));
            }
            Subject {
                recipe: subject.recipe.clone(),
                folder: subject.folder.clone(),
                missing: Vec::new(),
                renditions: Vec::new(),
                alone: None,
                given: Vec::new(),
                inputs: subject.inputs.clone(),
            }
        }
        Source::Records { paths, inputs } => from_records(paths, inputs.as_deref())?,
    };
    choose(&mut subject, &request.renditions)?;
    Ok(subject)
}

fn from_records(paths: &[PathBuf], extra: Option<&Path>) -> Result<Subject, Error> {
    let mut given = paths
        .iter()
        .map(|path| Given::read(path))
        .collect::<Result<Vec<_>, Error>>()?;
    let Some(first) = given.first() else {
        return Err(Error::request("no record is named", "name one or two"));
    };
    if given.len() > 2 {
        return Err(Error::request(
            format!("a page shows two renditions at most, not {}", given.len()),
            "name one or two records",
        ));
    }
    for other in &given[1..] {
        if other.record.rendition == first.record.rendition {
            return Err(Error::request(
                format!(
                    "both records are of the rendition {}",
                    first.record.rendition
                ),
                "name records of two renditions",
            ));
        }
        if !same_data(&first.record, &other.record) {
            return Err(Error::request(
                format!(
                    "{} and {} are not records of one recipe",
                    first.path.display(),
                    other.path.display()
                ),
                "make a page of each",
            ));
        }
    }
    let mut inputs = Vec::new();
    for one in &given {
        inputs.push(one.path.clone());
        inputs.extend(one.composite());
        let folder = folder_of(&one.path);
        inputs.extend(one.record.inputs.iter().map(|i| folder.join(&i.file)));
    }
    let mut recipe = first.record.recipe.clone();
    // The second record may know renditions that the first one does not.
    for other in &given[1..] {
        let known = recipe.rendition(&other.record.rendition).is_some();
        let own = other.record.recipe.rendition(&other.record.rendition);
        recipe.renditions.extend(own.filter(|_| !known).cloned());
    }
    let missing = locate(&mut recipe, &given, extra);
    for one in &mut given {
        // Channels are the same: so are their files.
        for (own, found) in one.recipe.channels.iter_mut().zip(&recipe.channels) {
            own.file.clone_from(&found.file);
        }
    }
    let folder = folder_of(&paths[0]).to_owned();
    Ok(Subject {
        folder,
        recipe,
        missing,
        renditions: Vec::new(),
        alone: None,
        given,
        inputs,
    })
}

// Whether two records are of the same channels. Where files lie may differ,
// and so may stretches: renditions may be years apart.
fn same_data(one: &Record, other: &Record) -> bool {
    let channels = |record: &Record| -> Vec<(String, String)> {
        let all = record.recipe.channels.iter();
        all.map(|channel| (channel.id.clone(), channel.line.clone()))
            .collect()
    };
    let same_files = one.inputs.iter().all(|input| {
        let mut others = other.inputs.iter();
        let twin = others.find(|twin| twin.channel == input.channel);
        twin.is_none_or(|twin| twin.sha256 == input.sha256)
    });
    channels(one) == channels(other) && same_files
}

// Names the files of all channels as they are found; gives those that are not.
fn locate(recipe: &mut Recipe, given: &[Given], extra: Option<&Path>) -> Vec<String> {
    let mut places: Vec<PathBuf> = Vec::new();
    let mut missing = Vec::new();
    let found = |id: &str| {
        given.iter().find_map(|one| {
            let mut inputs = one.record.inputs.iter();
            let input = inputs.find(|input| input.channel == id)?;
            verify::find(folder_of(&one.path), extra, &input.file)
        })
    };
    for channel in &mut recipe.channels {
        if let Some(place) = found(&channel.id) {
            // A recipe's files are relative to its folder, this one to where
            // the program runs.
            let place = std::path::absolute(&place).unwrap_or(place);
            places.push(folder_of(&place).to_owned());
            channel.file = place.to_string_lossy().into_owned();
        } else {
            missing.push(channel.id.clone());
        }
    }
    // Channels that the records' renditions do not use lie beside the others.
    let folders: Vec<&Path> = given.iter().map(|one| folder_of(&one.path)).collect();
    missing.retain(|id| {
        let Some(channel) = recipe.channels.iter_mut().find(|c| c.id == *id) else {
            return true;
        };
        if given
            .iter()
            .any(|one| one.record.inputs.iter().any(|input| input.channel == *id))
        {
            return true;
        }
        let name = Path::new(&channel.file).file_name().unwrap_or_default();
        let beside = places.iter().map(PathBuf::as_path).chain(extra);
        let place = beside
            .chain(folders.iter().copied())
            .map(|folder| folder.join(name))
            .find(|place| place.is_file());
        if let Some(place) = &place {
            channel.file = place.to_string_lossy().into_owned();
        }
        place.is_none()
    });
    missing
}

// Decides which renditions are shown.
fn choose(subject: &mut Subject, wanted: &[String]) -> Result<(), Error> {
    let recipe = &subject.recipe;
    if wanted.len() > 2 {
        return Err(Error::request(
            format!("a page shows two renditions at most, not {}", wanted.len()),
            "name one or two",
        ));
    }
    if let [one, two] = wanted
        && one == two
    {
        return Err(Error::request(
            format!("`{one}` is named twice"),
            "name each rendition once",
        ));
    }
    for id in wanted {
        pick_rendition(recipe, Some(id))?;
    }
    if !wanted.is_empty() {
        subject.renditions = wanted.to_vec();
        return Ok(());
    }
    let mut ids: Vec<String> = subject
        .given
        .iter()
        .map(|given| given.record.rendition.clone())
        .collect();
    if ids.is_empty() {
        ids.push(pick_rendition(recipe, None)?.id.clone());
    }
    if let [only] = ids.as_slice() {
        let natural = is_natural(recipe, only)?;
        let mut other = None;
        for rendition in &recipe.renditions {
            if other.is_none() && is_natural(recipe, &rendition.id)? != natural {
                other = Some(rendition.id.clone());
            }
        }
        match other {
            Some(other) => ids.push(other),
            None if natural => {
                subject.alone = Some("the recipe has no rendition in mapped colours".to_owned());
            }
            None => {
                subject.alone = Some("the recipe has no rendition in natural colours".to_owned());
            }
        }
    }
    subject.renditions = ids;
    Ok(())
}

fn is_natural(recipe: &Recipe, id: &str) -> Result<bool, Error> {
    let facts = facts(recipe, pick_rendition(recipe, Some(id))?)?;
    Ok(facts.lines.iter().all(|line| line.natural))
}
