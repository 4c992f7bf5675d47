//! Which unit and plane is meant, and what its header makes of it.

use std::path::Path;

use super::cards::BLOCK;
use super::layout::{
    Hdu, HduFacts, HduKind, dimensions, first, first_integer, first_number, product,
};
use super::values::{Coding, Stored};
use super::walk::{Trouble, Walk};
use crate::engine::frame::Size;
use crate::engine::header::{Card, Header, Value};
use crate::io::read::{Pick, ReadError, SampleKind, SampleType};

/// The unit that `pick` means: the named one, or the first with a picture.
///
/// # Errors
/// Whatever ended the walk before a picture; or a list of what is there.
pub(super) fn choose(path: &Path, pick: Pick, found: &Walk) -> Result<usize, ReadError> {
    let chosen = match pick.hdu {
        Some(index) => found.hdus.iter().position(|unit| unit.facts.index == index),
        None => found.hdus.iter().position(|unit| unit.facts.is_picture()),
    };
    if let Some(index) = chosen.filter(|index| found.hdus[*index].facts.is_picture()) {
        return Ok(index);
    }
    let contents = contents(found);
    let path = path.to_owned();
    match (chosen, pick.hdu) {
        (Some(index), Some(_)) => Err(ReadError::Pick {
            path,
            what: format!("{}, no picture of two axes", found.hdus[index].facts),
            hint: format!("choose another `hdu`, or none: {contents}"),
        }),
        (None, Some(index)) if found.trouble.is_none() => Err(ReadError::Pick {
            path,
            what: format!("it has no HDU {index}"),
            hint: format!("choose another `hdu`, or none: {contents}"),
        }),
        _ => Err(match &found.trouble {
            Some(Trouble::Damaged(what)) => ReadError::Damaged {
                path,
                what: what.clone(),
            },
            Some(Trouble::Io(error)) => super::packed::unpacking(&path, error),
            None => ReadError::Unsuitable {
                path,
                what: format!("it holds no picture: {contents}"),
                hint: "give a FITS file with an image of two axes".to_owned(),
            },
        }),
    }
}

/// The first units in words, and how many more there are.
fn contents(found: &Walk) -> String {
    let mut words: Vec<_> = found
        .hdus
        .iter()
        .take(8)
        .map(|unit| unit.facts.to_string())
        .collect();
    if found.hdus.len() > 8 {
        words.push(format!("and {} more", found.hdus.len() - 8));
    }
    words.join(", ")
}

/// Width and height, how many planes there are, and which one is meant.
pub(super) struct Shape {
    pub size: Size,
    pub planes: usize,
    /// From 0.
    pub plane: usize,
}

/// Picks a plane; all axes beyond the second are counted through.
pub(super) fn shape(path: &Path, pick: Pick, facts: &HduFacts) -> Result<Shape, ReadError> {
    let axes = &facts.axes;
    let too_big = |what| ReadError::Damaged {
        path: path.to_owned(),
        what,
    };
    let whole = |value: u64| {
        usize::try_from(value).map_err(|_| too_big(format!("{} is too large", dimensions(axes))))
    };
    let all = product(axes).map_err(too_big)?;
    let size = Size {
        width: whole(axes[0])?,
        height: whole(axes[1])?,
    };
    // No plane may be beyond what can be counted; the decoder counts in 32 bits.
    whole(axes[0].saturating_mul(axes[1]))?;
    let planes = whole(all / (axes[0] * axes[1]))?;
    if axes[0] > i32::MAX as u64 || axes[1] > i32::MAX as u64 || planes > i32::MAX as usize {
        return Err(too_big(format!("{} is too large", dimensions(axes))));
    }
    let hint = format!(
        "add `plane = N` with N from 0 to {}",
        planes.saturating_sub(1)
    );
    match pick.plane {
        None if planes > 1 => Err(ReadError::Pick {
            path: path.to_owned(),
            what: format!(
                "HDU {} is a cube of {planes} planes ({})",
                facts.index,
                dimensions(axes)
            ),
            hint,
        }),
        Some(plane) if plane >= planes => Err(ReadError::Pick {
            path: path.to_owned(),
            what: format!("it has no plane {plane}: there are {planes}"),
            hint,
        }),
        picked => Ok(Shape {
            size,
            planes,
            plane: picked.unwrap_or(0),
        }),
    }
}

/// The scaling keywords.
///
/// # Errors
/// One clause where they make no sense.
pub(super) fn coding(unit: &Hdu) -> Result<Coding, String> {
    let cards = &unit.header.cards;
    let stored = Stored::from_bitpix(unit.facts.bitpix)
        .ok_or_else(|| format!("BITPIX is {}", unit.facts.bitpix))?;
    let number = |keyword: &str, absent: f64| match first(cards, keyword) {
        None => Ok(absent),
        Some(_) => first_number(cards, keyword).ok_or_else(|| format!("{keyword} is no number")),
    };
    let (scale, zero) = (number("BSCALE", 1.0)?, number("BZERO", 0.0)?);
    if scale == 0.0 {
        return Err("BSCALE is 0: every pixel would have the same value".to_owned());
    }
    let blank = first_integer(cards, "BLANK").filter(|_| !stored.is_float());
    Ok(Coding {
        stored,
        scale,
        zero,
        blank,
    })
}

/// How samples are stored, and the level at which they saturate.
pub(super) fn sample(coding: &Coding, header: &Header) -> (SampleType, Option<f64>) {
    let bits = (coding.stored.bytes() * 8) as u8;
    // The offset that makes signed integers unsigned, and the other way round.
    let half = libm::exp2(f64::from(bits - 1)) * coding.scale;
    let near = |zero: f64| (coding.zero - zero).abs() <= half.abs() * 1e-6;
    let kind = match coding.stored {
        Stored::F32 | Stored::F64 => SampleKind::Float,
        Stored::U8 if near(-half) => SampleKind::Signed,
        Stored::U8 => SampleKind::Unsigned,
        _ if near(half) => SampleKind::Unsigned,
        _ => SampleKind::Signed,
    };
    let largest_stored = if coding.stored == Stored::U8 {
        255.0
    } else {
        libm::exp2(f64::from(bits - 1)) - 1.0
    };
    let ceiling = header
        .number("SATURATE")
        .filter(|level| *level > 0.0)
        .or_else(|| {
            (kind == SampleKind::Unsigned && coding.scale > 0.0)
                .then_some(coding.zero + coding.scale * largest_stored)
        });
    (SampleType { bits, kind }, ceiling)
}

/// Keywords that belong to one unit's structure and never pass to another.
const STRUCTURE: [&str; 16] = [
    "SIMPLE", "XTENSION", "BITPIX", "NAXIS", "PCOUNT", "GCOUNT", "GROUPS", "EXTEND", "EXTNAME",
    "EXTVER", "EXTLEVEL", "BSCALE", "BZERO", "BLANK", "CHECKSUM", "DATASUM",
];

/// The cards of the picture, with those of the primary header behind them
/// unless the picture's own header says INHERIT = F.
pub(super) fn header(found: &Walk, chosen: usize) -> Header {
    let unit = &found.hdus[chosen];
    let mut cards = unit.header.cards.clone();
    if unit.facts.kind == HduKind::TiledImage {
        cards = as_image(cards, &unit.facts);
    }
    let alone = first(&cards, "INHERIT") == Some(&Value::Logical(false));
    let inherited = if chosen == 0 || alone {
        Vec::new()
    } else {
        let own = |card: &&Card| {
            !STRUCTURE.contains(&card.keyword.as_str()) && !numbered(&card.keyword, "NAXIS")
        };
        found.hdus[0]
            .header
            .cards
            .iter()
            .filter(own)
            .cloned()
            .collect()
    };
    Header { cards, inherited }
}

/// Whether a keyword is `root` with a number behind.
fn numbered(keyword: &str, root: &str) -> bool {
    keyword
        .strip_prefix(root)
        .is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()))
}

/// The header of a table of tiles as that of the image it stands for.
fn as_image(cards: Vec<Card>, facts: &HduFacts) -> Vec<Card> {
    const TABLE: [&str; 7] = [
        "TFIELDS", "THEAP", "XTENSION", "PCOUNT", "GCOUNT", "CHECKSUM", "DATASUM",
    ];
    const TILES: [&str; 15] = [
        "ZIMAGE", "ZCMPTYPE", "ZBITPIX", "ZNAXIS", "ZSIMPLE", "ZTENSION", "ZEXTEND", "ZPCOUNT",
        "ZGCOUNT", "ZHECKSUM", "ZDATASUM", "ZQUANTIZ", "ZDITHER0", "ZBLANK", "ZMASKCMP",
    ];
    const ROOTS: [&str; 10] = [
        "NAXIS", "TTYPE", "TFORM", "TUNIT", "TSCAL", "TZERO", "TNULL", "TDIM", "TDISP", "ZNAXIS",
    ];
    let structural = |card: &Card| {
        let keyword = card.keyword.as_str();
        matches!(keyword, "BITPIX" | "NAXIS")
            || TABLE.contains(&keyword)
            || TILES.contains(&keyword)
            || ROOTS
                .iter()
                .chain(&["ZTILE", "ZNAME", "ZVAL"])
                .any(|root| numbered(keyword, root))
    };
    let integer = |keyword: String, value: i64| Card {
        keyword,
        value: Some(Value::Integer(value)),
        comment: String::new(),
    };
    let mut image = vec![
        integer("BITPIX".to_owned(), facts.bitpix),
        integer("NAXIS".to_owned(), facts.axes.len() as i64),
    ];
    image.extend(
        (1..)
            .zip(&facts.axes)
            .map(|(axis, length)| integer(format!("NAXIS{axis}"), *length as i64)),
    );
    image.extend(cards.into_iter().filter(|card| !structural(card)));
    image
}

/// Oddities of the file around the picture.
pub(super) fn notices(found: &Walk, chosen: usize, length: Option<u64>) -> Vec<String> {
    let mut notices = Vec::new();
    let simple = first(&found.hdus[0].header.cards, "SIMPLE");
    if simple != Some(&Value::Logical(true)) {
        notices
            .push("the header does not say that it follows the standard (SIMPLE = T)".to_owned());
    }
    let unit = &found.hdus[chosen];
    if let Some(length) = length {
        if length < unit.next_start() {
            notices.push(format!("the last block is not filled up to {BLOCK} bytes"));
        }
        if let Some(stray) = found.stray {
            notices.push(format!(
                "{} stray bytes follow the data",
                length.saturating_sub(stray)
            ));
        }
    }
    if let Some(Trouble::Damaged(what)) = &found.trouble {
        notices.push(format!("the file is damaged behind the picture: {what}"));
    }
    notices
}

/// The pattern of colour filters over the pixels, where there is one: such a
/// picture is not grey yet.
pub(super) fn bayer(header: &Header) -> Option<String> {
    let pattern = header.text("BAYERPAT")?.to_ascii_uppercase();
    (pattern.len() == 4 && pattern.bytes().all(|byte| b"RGBCMYW".contains(&byte)))
        .then_some(pattern)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn saturation_of_integers() {
        let header = Header::default();
        let of = |stored, scale, zero| {
            let (kind, ceiling) = sample(
                &Coding {
                    stored,
                    scale,
                    zero,
                    blank: None,
                },
                &header,
            );
            (kind.kind, ceiling)
        };
        assert_eq!(
            of(Stored::U8, 1.0, 0.0),
            (SampleKind::Unsigned, Some(255.0))
        );
        assert_eq!(of(Stored::U8, 1.0, -128.0), (SampleKind::Signed, None));
        assert_eq!(
            of(Stored::I16, 1.0, 32768.0),
            (SampleKind::Unsigned, Some(65535.0))
        );
        assert_eq!(of(Stored::I16, 1.0, 0.0), (SampleKind::Signed, None));
        assert_eq!(of(Stored::I32, 1.0, 2147483648.0).1, Some(4294967295.0));
        assert_eq!(of(Stored::F32, 1.0, 0.0), (SampleKind::Float, None));
        let unit = of(Stored::I16, 1.0 / 65535.0, 32768.0 / 65535.0);
        assert!(unit.1.is_some_and(|ceiling| (ceiling - 1.0).abs() < 1e-12));
    }
}
