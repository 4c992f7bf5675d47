//! The channels of a recipe, prepared once and read small: renditions of them
//! are made from memory.

use std::path::Path;

use ndarray::Array2;
use rayon::prelude::*;

use crate::engine::color::space::Space;
use crate::engine::compose::{Codes, Composition};
use crate::engine::frame::{BAND_ROWS, Depth, Plane, Rows, Size};
use crate::engine::recipe::{Channel, Recipe, Rendition};
use crate::engine::reduce::{Reduced, reduced_size};
use crate::io::draw::Picture;
use crate::work::inputs::{self, Input};
use crate::work::needed::{self, Needed};
use crate::work::parts;
use crate::work::prepare::Preparation;
use crate::work::{Control, Error};

/// Channels on the common grid, not read yet.
pub struct Prepared {
    inputs: Vec<Input>,
    preparation: Preparation,
}

/// Channels in memory, small.
pub struct Small {
    /// By the recipe's channels; None where one is not needed.
    planes: Vec<Option<Plane>>,
    /// What renditions need beside the channels, by the order of their slots.
    parts: Vec<(Rendition, Vec<Plane>)>,
    /// Their size.
    pub size: Size,
}

/// The channels that any of these renditions needs.
///
/// # Errors
/// When a colour cannot be worked out.
pub fn needed<'a>(
    renditions: impl Iterator<Item = (&'a Recipe, &'a Rendition)>,
) -> Result<Needed, Error> {
    let mut needed = Needed::default();
    for (recipe, rendition) in renditions {
        needed.add(recipe, &composition(recipe, rendition)?);
    }
    Ok(needed)
}

fn composition(recipe: &Recipe, rendition: &Rendition) -> Result<Composition, Error> {
    let made = Composition::new(recipe, rendition, Space::Srgb, Depth::Eight);
    Ok(made?)
}

// Every pixel is made of the channels as they are prepared.
fn is_plain(recipe: &Recipe, composition: &Composition) -> bool {
    let smoothed = |index: usize| {
        recipe.channels[index]
            .denoise
            .is_some_and(|share| share > 0.0)
    };
    composition.slots().len() == composition.channels().count()
        && !composition.channels().any(smoothed)
}

/// Opens, aligns, crops and levels the channels `needed`.
///
/// # Errors
/// [`Error`].
pub fn prepared(
    recipe: &Recipe,
    folder: &Path,
    mut needed: Needed,
    control: Control<'_>,
) -> Result<Prepared, Error> {
    let locate = |channel: &Channel| Ok(folder.join(&channel.file));
    let left_out = needed.leave_out(recipe, locate);
    let shaping = inputs::shaping(recipe, &needed.all);
    let inputs: Vec<Input> = inputs::open(recipe, &shaping, locate)?;
    let mut preparation = needed::prepared(recipe, &inputs, &needed, control)?;
    preparation.notices.extend(left_out);
    Ok(Prepared {
        inputs,
        preparation,
    })
}

impl Prepared {
    /// The size of the pictures that can be made.
    pub fn size(&self) -> Size {
        self.preparation.part.size
    }

    /// What a person should know.
    pub fn notices(&self) -> &[String] {
        &self.preparation.notices
    }

    /// Reads all channels, their longer side brought to `long_edge`; never
    /// larger than they are. Stars, noise and fine structure go their own ways
    /// in those of `renditions` that say so.
    ///
    /// # Errors
    /// When a file fails, or the job is stopped.
    pub fn read<'a>(
        &self,
        renditions: impl Iterator<Item = (&'a Recipe, &'a Rendition)>,
        long_edge: usize,
        control: Control<'_>,
    ) -> Result<Small, Error> {
        let channels = &self.preparation.channels;
        let read: Vec<Plane> = channels
            .par_iter()
            .map(|channel| {
                let rows = Reduced::within(channel.rows.clone(), long_edge);
                plane(&*rows, control)
            })
            .collect::<Result<_, Error>>()?;
        let size = read.first().map_or(self.size(), Rows::size);
        let indices = &self.preparation.indices;
        let most = indices.iter().max().map_or(0, |index| index + 1);
        let mut planes: Vec<Option<Plane>> = (0..most).map(|_| None).collect();
        for (index, plane) in indices.iter().zip(read) {
            planes[*index] = Some(plane);
        }
        let mut parts = Vec::new();
        for (recipe, rendition) in renditions {
            let composition = composition(recipe, rendition)?;
            if !is_plain(recipe, &composition) {
                let made = self.parts(recipe, rendition, &composition, long_edge, control)?;
                parts.push((rendition.clone(), made));
            }
        }
        Ok(Small {
            planes,
            parts,
            size,
        })
    }

    fn parts(
        &self,
        recipe: &Recipe,
        rendition: &Rendition,
        composition: &Composition,
        long_edge: usize,
        control: Control<'_>,
    ) -> Result<Vec<Plane>, Error> {
        let smaller = reduced_size(self.size(), long_edge).map(|_| long_edge);
        let sources = parts::sources(
            recipe,
            rendition,
            composition,
            &self.inputs,
            &self.preparation,
            smaller,
            control,
        )?;
        let rows = sources.rows.iter();
        rows.map(|rows| plane(&**rows, control)).collect()
    }
}

fn plane(rows: &dyn Rows, control: Control<'_>) -> Result<Plane, Error> {
    let size = rows.size();
    let mut values = vec![0.0; size.pixels()];
    for (index, band) in values.chunks_mut(size.width * BAND_ROWS).enumerate() {
        control.check()?;
        let row = index * BAND_ROWS;
        control
            .progress
            .report("reading channels", row as u64, size.height as u64);
        rows.read(row, band)?;
    }
    let values = Array2::from_shape_vec((size.height, size.width), values)
        .map_err(|error| Error::request(error.to_string(), "please report it"))?;
    Ok(Plane::new(values))
}

impl Small {
    /// A rendition of the channels, in sRGB.
    ///
    /// # Errors
    /// When a colour cannot be worked out, or a channel was not asked for.
    pub fn picture(&self, recipe: &Recipe, rendition: &Rendition) -> Result<Picture, Error> {
        let composition = composition(recipe, rendition)?;
        let parts = self.parts.iter().find(|(of, _)| of == rendition);
        let values: Vec<&[f32]> = match parts {
            Some((_, planes)) => planes
                .iter()
                .map(|plane| plane.values().as_slice())
                .collect::<Option<_>>(),
            None => composition
                .channels()
                .map(|index| self.planes.get(index)?.as_ref()?.values().as_slice())
                .collect::<Option<_>>(),
        }
        .filter(|values: &Vec<&[f32]>| values.len() == composition.slots().len())
        .ok_or_else(|| Error::request("a channel was not read", "please report it"))?;
        let Size { width, height } = self.size;
        let mut rgb = vec![0; 3 * width * height];
        let band = width * 16;
        rgb.par_chunks_mut(3 * band)
            .enumerate()
            .for_each(|(index, out)| {
                let from = index * band;
                let pixels = out.len() / 3;
                let inputs: Vec<&[f32]> = values
                    .iter()
                    .map(|values| &values[from..from + pixels])
                    .collect();
                composition.run(&inputs, Codes::U8(out));
            });
        Ok(Picture {
            size: [width, height],
            rgb,
        })
    }
}
