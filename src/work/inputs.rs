//! The channels of a recipe as open files.

use std::fs::File;
use std::io::Read as _;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest as _, Sha256};

use super::{Control, Error, continuum, ratio};
use crate::engine::frame::{Rows, Size};
use crate::engine::header::Header;
use crate::engine::recipe::{Channel, Crop, Recipe};
use crate::io::read::{self, Facts, Pick, ReadError};
use crate::io::record;
use crate::io::write::atomic::hex;

/// A channel of a recipe and its open file.
pub struct Input {
    /// Index of the channel in the recipe.
    pub channel: usize,
    /// The file as it was opened.
    pub path: PathBuf,
    /// What is known of it.
    pub facts: Facts,
    /// Its pixels, as the file has them.
    pub rows: Arc<dyn Rows>,
}

/// The channels whose files are inputs of a picture that shows `needed`: these,
/// the broad ones that continuum is taken out by, and the reference where one
/// of them is laid on its grid; all, where the
/// picture is cropped to what all of them cover.
pub fn shaping(recipe: &Recipe, needed: &[usize]) -> Vec<usize> {
    if recipe.crop == Some(Crop::Common) {
        return (0..recipe.channels.len()).collect();
    }
    let needed = continuum::involved(recipe, needed);
    let aligned = needed
        .iter()
        .any(|index| recipe.channels[*index].align.is_some());
    let reference = recipe.reference().map(|reference| &reference.id);
    (0..recipe.channels.len())
        .filter(|index| {
            let is_reference = Some(&recipe.channels[*index].id) == reference;
            needed.contains(index) || (aligned && is_reference)
        })
        .collect()
}

/// What a picture is made from, and the file on whose grid it lies.
pub struct Opened {
    /// Those that [shape](shaping) it.
    pub inputs: Vec<Input>,
    /// What is known of the reference, which lends its place on the sky even
    /// where nothing else of it is used; None where there is none.
    pub reference: Option<Facts>,
    /// All that were opened: channel and path.
    pub files: Vec<(usize, PathBuf)>,
}

impl Opened {
    /// The header of the reference; empty where there is none.
    pub fn header(&self) -> Header {
        let header = self.reference.as_ref().map(|facts| facts.header.clone());
        header.unwrap_or_default()
    }
}

/// Opens the files that shape a picture of `needed`, and the reference.
///
/// # Errors
/// As [`open`].
pub fn with_reference(
    recipe: &Recipe,
    needed: &[usize],
    locate: impl Fn(&Channel) -> Result<PathBuf, Error>,
) -> Result<Opened, Error> {
    let shaping = shaping(recipe, needed);
    let id = recipe.reference().map(|reference| &reference.id);
    let is_reference = |index: usize| Some(&recipe.channels[index].id) == id;
    let wanted: Vec<usize> = (0..recipe.channels.len())
        .filter(|index| shaping.contains(index) || is_reference(*index))
        .collect();
    let mut inputs = open(recipe, &wanted, locate)?;
    let files = inputs
        .iter()
        .map(|input| (input.channel, input.path.clone()))
        .collect();
    let reference = inputs.iter().find(|input| is_reference(input.channel));
    let reference = reference.map(|input| input.facts.clone());
    inputs.retain(|input| shaping.contains(&input.channel));
    Ok(Opened {
        inputs,
        reference,
        files,
    })
}

/// Opens the named channels of a checked recipe, in the recipe's order.
/// `locate` says where a channel's file is.
///
/// # Errors
/// The first file that cannot be read, or that is not aligned and does not
/// share the size of the reference (of the first, where the reference is not
/// among them).
pub fn open(
    recipe: &Recipe,
    needed: &[usize],
    locate: impl Fn(&Channel) -> Result<PathBuf, Error>,
) -> Result<Vec<Input>, Error> {
    let mut inputs = Vec::new();
    for (index, channel) in recipe.channels.iter().enumerate() {
        if !needed.contains(&index) {
            continue;
        }
        let path = locate(channel)?;
        let pick = Pick {
            hdu: channel.hdu,
            plane: channel.plane,
        };
        let opened = read::open(&path, pick)?;
        inputs.push(Input {
            channel: index,
            path,
            facts: opened.facts,
            rows: Arc::from(opened.rows),
        });
    }
    let channel = |input: &Input| &recipe.channels[input.channel];
    let reference = recipe.reference().map(|reference| &reference.id);
    let model = inputs
        .iter()
        .find(|input| Some(&channel(input).id) == reference)
        .or(inputs.first());
    if let Some(model) = model {
        let (id, wanted) = (&channel(model).id, model.facts.size);
        for input in &inputs {
            if channel(input).align.is_none() {
                same_size(channel(input), input.facts.size, id, wanted)?;
            }
        }
    }
    Ok(inputs)
}

fn same_size(channel: &Channel, size: Size, model: &str, wanted: Size) -> Result<(), Error> {
    if size == wanted {
        return Ok(());
    }
    let Channel { id, file, .. } = channel;
    Err(Error::request(
        format!("{id}: {file} is {size}, the reference {model} is {wanted}"),
        format!(
            "add `[channel.align]` with `method = \"stars\"` to {id}, or choose another reference"
        ),
    ))
}

/// Refuses outputs that would replace one of the inputs, also one that is not
/// read this time.
///
/// # Errors
/// The first output that is an input.
pub fn spare(inputs: &[PathBuf], outputs: &[&Path]) -> Result<(), Error> {
    for output in outputs {
        let Ok(real) = output.canonicalize() else {
            continue;
        };
        for input in inputs {
            if input.canonicalize().is_ok_and(|path| path == real) {
                return Err(Error::request(
                    format!("{} is one of the inputs", output.display()),
                    "choose another name for the output",
                ));
            }
        }
    }
    Ok(())
}

/// Refuses a drawing that would take the place of a composite, which has its
/// record beside it.
///
/// # Errors
/// When there is such a record.
pub fn spare_composite(output: &Path) -> Result<(), Error> {
    let record = record::path_for(output);
    if !record.is_file() {
        return Ok(());
    }
    let name = |path: &Path| {
        let name = path.file_name().unwrap_or(path.as_os_str());
        name.to_string_lossy().into_owned()
    };
    Err(Error::request(
        format!(
            "{} is the composite that {} tells of; a drawing does not replace it",
            output.display(),
            name(&record)
        ),
        "choose another name for the output",
    ))
}

/// Refuses to replace a map of ratios with something else: it is told by the
/// record beside it.
///
/// # Errors
/// When there is such a record.
pub fn spare_map(output: &Path) -> Result<(), Error> {
    let record = ratio::record_path(output);
    if !record.is_file() {
        return Ok(());
    }
    let name = record.file_name().unwrap_or_default().to_string_lossy();
    Err(Error::request(
        format!(
            "{} is the map that {name} tells of; nothing else replaces it",
            output.display()
        ),
        "choose another name for the output",
    ))
}

/// SHA-256 of a file, lower-case hex. The file is read once, in pieces.
///
/// # Errors
/// When it cannot be read, or the job is stopped.
pub fn sha256(path: &Path, control: Control<'_>) -> Result<String, Error> {
    let system = |error: std::io::Error| ReadError::System {
        path: path.to_owned(),
        what: error.to_string(),
    };
    let mut file = File::open(path).map_err(system)?;
    let mut hasher = Sha256::new();
    let mut buffer = vec![0; 1 << 18];
    loop {
        control.check()?;
        match file.read(&mut buffer).map_err(system)? {
            0 => return Ok(hex(&hasher.finalize())),
            length => hasher.update(&buffer[..length]),
        }
    }
}

/// The path from a folder to a file, with `/`; absolute where the two share no
/// root. Links among the folders are followed first, so that the way back out
/// of a folder is the real one; a file that is itself a link keeps its name.
pub fn relative(folder: &Path, file: &Path) -> String {
    let real = |path: &Path| {
        path.canonicalize()
            .or_else(|_| std::path::absolute(path))
            .unwrap_or_else(|_| path.into())
    };
    let folder = real(folder);
    let file = match file.file_name() {
        Some(name) => real(folder_of(file)).join(name),
        None => real(file),
    };
    let (from, to): (Vec<_>, Vec<_>) = (folder.components().collect(), file.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return file.to_string_lossy().into_owned();
    }
    let up = std::iter::repeat_n("..".to_owned(), from.len() - shared);
    let down = to[shared..]
        .iter()
        .map(|part: &Component<'_>| part.as_os_str().to_string_lossy().into_owned());
    up.chain(down).collect::<Vec<_>>().join("/")
}

/// The folder of a file, `.` where the name has none.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_between_folders() {
        let root = tempfile::tempdir().expect("folder");
        let at = |name: &str| root.path().join(name);
        std::fs::create_dir_all(at("a/b")).expect("folder");
        std::fs::create_dir_all(at("c")).expect("folder");
        std::fs::write(at("c/x [1].fits"), b"").expect("file");
        assert_eq!(
            relative(&at("a/b"), &at("c/x [1].fits")),
            "../../c/x [1].fits"
        );
        assert_eq!(relative(&at("c"), &at("c/x [1].fits")), "x [1].fits");
        assert_eq!(relative(&at("c"), &at("c/new.fits")), "new.fits");
    }
}
