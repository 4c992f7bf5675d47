//! Which part of the grid is kept.

use super::laid::Laid;
use crate::engine::crop::{Rectangle, both, covered, largest};
use crate::engine::frame::Size;
use crate::engine::recipe::{Crop, Recipe};
use crate::work::inputs::Input;
use crate::work::{Control, Error};

pub(super) fn part(
    recipe: &Recipe,
    grid: &Input,
    channels: &[Laid],
    control: Control<'_>,
) -> Result<Rectangle, Error> {
    let size = grid.facts.size;
    let whole = Rectangle {
        origin: [0, 0],
        size,
    };
    match recipe.crop {
        None => Ok(whole),
        Some(Crop::Part([x, y, width, height])) => {
            let inside = |origin: usize, length: usize, side: usize| {
                length > 0 && origin.checked_add(length).is_some_and(|end| end <= side)
            };
            if inside(x, width, size.width) && inside(y, height, size.height) {
                let size = Size { width, height };
                return Ok(Rectangle {
                    origin: [x, y],
                    size,
                });
            }
            Err(Error::request(
                if width == 0 || height == 0 {
                    format!("`crop = [{x}, {y}, {width}, {height}]` leaves nothing of {size}")
                } else {
                    format!("`crop = [{x}, {y}, {width}, {height}]` reaches beyond {size}")
                },
                "give the first pixel and how many, in pixels of the reference",
            ))
        }
        Some(Crop::Common) => {
            let mut common = vec![(0, size.width); size.height];
            for channel in channels {
                control.check()?;
                common = both(&common, &covered(&*channel.rows)?);
            }
            largest(&common, size.width).ok_or_else(|| {
                Error::request(
                    "`crop = \"common\"` leaves nothing: no part is covered by all channels",
                    "look at the channels with `linehue channels`, or take `crop` out",
                )
            })
        }
    }
}
