//! The file that a sheet of pictures becomes.

use std::ops::RangeInclusive;
use std::path::Path;

use crate::engine::recipe::About;
use crate::io::draw::Scene;
use crate::io::draw::file::{self, How, Kind};
use crate::work::Error;
use crate::work::inputs::{spare, spare_composite, spare_map};
use crate::work::key::Subject;

/// Widths that a sheet can have, pixels.
pub const WIDTHS: RangeInclusive<usize> = 320..=16_000;

/// The kind that the ending of `out` tells, once it is clear that no file of
/// `subject` and no composite would be replaced.
///
/// # Errors
/// Where one would be, or where it can be no such file.
pub fn kind(subject: &Subject, out: &Path) -> Result<Kind, Error> {
    let kind = file::kind_of(out, &[Kind::Png, Kind::Jpeg, Kind::Pdf])?;
    spare(&subject.inputs, &[out])?;
    spare_composite(out)?;
    spare_map(out)?;
    Ok(kind)
}

/// Writes it, a pixel for each unit of the scene. Gives width and height in
/// pixels.
///
/// # Errors
/// Where it cannot be written.
pub fn write(scene: &Scene, out: &Path, kind: Kind, about: &About) -> Result<[usize; 2], Error> {
    let how = How {
        kind,
        scale: 1.0,
        points: file::PRINT,
    };
    file::write(scene, out, how, about)?;
    Ok(scene.size.map(|side| side.round() as usize))
}
