//! One grey channel as FITS: 32-bit floats, NaN for no data.

use std::io::{BufWriter, Write as _};
use std::path::Path;

use super::WriteError;
use super::atomic::{Draft, Sealed};
use super::cards::{self, BLOCK, Cards};
use crate::engine::frame::{BAND_ROWS, Rows, RowsError};
use crate::engine::header::Header;
use crate::engine::wcs::moved;

/// What goes into the header beside the picture's own axes.
#[derive(Debug, Clone, Default)]
pub struct About<'a> {
    /// The channel's own header: words about target, instrument and time.
    pub own: Option<&'a Header>,
    /// The header that gives the place on the sky.
    pub grid: Option<&'a Header>,
    /// Where the picture's first pixel lies on that grid, (x, y).
    pub origin: [usize; 2],
    /// Text cards, keyword and value.
    pub texts: Vec<(&'a str, String)>,
    /// Number cards, keyword and value.
    pub numbers: Vec<(&'a str, f64)>,
    /// HISTORY lines.
    pub history: Vec<String>,
}

/// Why a channel could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ChannelError {
    /// Its rows could not be read.
    #[error(transparent)]
    Rows(#[from] RowsError),
    /// Its file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Writes a channel; it still has to be published. `tick` hears of the rows
/// that are done.
///
/// # Errors
/// [`ChannelError`]; nothing is left then.
pub fn prepare(
    path: &Path,
    rows: &dyn Rows,
    about: &About<'_>,
    tick: &dyn Fn(usize),
) -> Result<Sealed, ChannelError> {
    let size = rows.size();
    let draft = Draft::create(path)?;
    {
        let disk = WriteError::disk(path);
        let mut out = BufWriter::with_capacity(1 << 20, draft.file());
        out.write_all(&header(rows, about)).map_err(&disk)?;
        let mut values = vec![0.0; size.width * BAND_ROWS.min(size.height)];
        let mut bytes = Vec::with_capacity(values.len() * 4);
        for first_row in (0..size.height).step_by(BAND_ROWS) {
            let count = BAND_ROWS.min(size.height - first_row) * size.width;
            rows.read(first_row, &mut values[..count])?;
            bytes.clear();
            bytes.extend(values[..count].iter().flat_map(|value| value.to_be_bytes()));
            out.write_all(&bytes).map_err(&disk)?;
            tick(first_row);
        }
        let used = (size.pixels() * 4) % BLOCK;
        if used > 0 {
            out.write_all(&[0; BLOCK][used..]).map_err(&disk)?;
        }
        out.flush().map_err(&disk)?;
    }
    Ok(draft.seal()?)
}

fn header(rows: &dyn Rows, about: &About<'_>) -> Vec<u8> {
    let size = rows.size();
    let mut cards = Cards::new();
    cards.logical("SIMPLE", true);
    cards.integer("BITPIX", -32);
    cards.integer("NAXIS", 2);
    cards.integer("NAXIS1", size.width as i64);
    cards.integer("NAXIS2", size.height as i64);
    if let Some(own) = about.own {
        cards::words(own, &mut cards);
    }
    for (keyword, text) in &about.texts {
        cards.text(keyword, text);
    }
    for (keyword, number) in &about.numbers {
        cards.real(keyword, *number);
    }
    if let Some(grid) = about.grid {
        cards::world_coordinates(&moved(grid, about.origin), false, &mut cards);
    }
    for line in &about.history {
        cards.comment("HISTORY", line);
    }
    cards.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Plane;
    use crate::engine::header::{Card, Value};
    use crate::io::read::{self, Pick};

    #[test]
    fn a_channel_comes_back_with_its_place_on_the_sky() {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("ha [1].fits");
        let plane = Plane::new(ndarray::Array2::from_shape_fn((70, 33), |(y, x)| {
            if x == 5 {
                f32::NAN
            } else {
                (y * 33 + x) as f32 * 0.5
            }
        }));
        let card = |keyword: &str, value: Value| Card {
            keyword: keyword.to_owned(),
            value: Some(value),
            comment: String::new(),
        };
        let grid = Header {
            cards: vec![
                card("CTYPE1", Value::Text("RA---TAN".into())),
                card("CTYPE2", Value::Text("DEC--TAN".into())),
                card("CRPIX1", Value::Integer(100)),
                card("CRPIX2", Value::Real(50.5)),
                card("CRVAL1", Value::Real(10.0)),
                card("CRVAL2", Value::Real(20.0)),
                card("CD1_1", Value::Real(-1e-4)),
                card("CD2_2", Value::Real(1e-4)),
                card("OBJECT", Value::Text("Lantern Shell".into())),
            ],
            inherited: Vec::new(),
        };
        let about = About {
            own: Some(&grid),
            grid: Some(&grid),
            origin: [7, 3],
            texts: vec![("FILTER", "Ha".into())],
            numbers: vec![("XPOSURE", 300.0)],
            history: vec!["aligned".into()],
        };
        let sealed = prepare(&path, &plane, &about, &|_| ()).expect("written");
        assert!(!path.exists(), "it has no name before it is published");
        sealed.publish().expect("published");
        let opened = read::open(&path, Pick::default()).expect("opens");
        let header = &opened.facts.header;
        assert_eq!(header.number("CRPIX1"), Some(93.0));
        assert_eq!(header.number("CRPIX2"), Some(47.5));
        assert_eq!(header.text("FILTER").as_deref(), Some("Ha"));
        assert_eq!(header.number("XPOSURE"), Some(300.0));
        let back = Plane::from_rows(&*opened.rows).expect("reads");
        assert_eq!(back.values().dim(), plane.values().dim());
        for (a, b) in back.values().iter().zip(plane.values()) {
            assert!(a == b || (a.is_nan() && b.is_nan()));
        }
    }
}
