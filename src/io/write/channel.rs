//! Grey pictures as FITS: 32-bit floats, NaN for no data. One picture is the
//! primary array; others follow it as image extensions (FITS 4.0, section 7.1).

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
    prepare_all(path, &[(rows, about)], tick)
}

/// Writes pictures one after the other into one file; it still has to be
/// published. `tick` hears of the rows that are done of each.
///
/// # Errors
/// [`ChannelError`]; nothing is left then.
pub fn prepare_all(
    path: &Path,
    pictures: &[(&dyn Rows, &About<'_>)],
    tick: &dyn Fn(usize),
) -> Result<Sealed, ChannelError> {
    let draft = Draft::create(path)?;
    let disk = WriteError::disk(path);
    let mut out = BufWriter::with_capacity(1 << 20, draft.file());
    for (index, (rows, about)) in pictures.iter().enumerate() {
        let size = rows.size();
        let kind = match index {
            0 if pictures.len() == 1 => Kind::Alone,
            0 => Kind::First,
            _ => Kind::Extension,
        };
        out.write_all(&header(*rows, about, kind)).map_err(&disk)?;
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
    }
    out.flush().map_err(&disk)?;
    drop(out);
    Ok(draft.seal()?)
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Alone,
    // Extensions follow it.
    First,
    Extension,
}

fn header(rows: &dyn Rows, about: &About<'_>, kind: Kind) -> Vec<u8> {
    let size = rows.size();
    let mut cards = Cards::new();
    match kind {
        Kind::Alone | Kind::First => cards.logical("SIMPLE", true),
        Kind::Extension => cards.text("XTENSION", "IMAGE"),
    }
    cards.integer("BITPIX", -32);
    cards.integer("NAXIS", 2);
    cards.integer("NAXIS1", size.width as i64);
    cards.integer("NAXIS2", size.height as i64);
    match kind {
        Kind::Alone => {}
        Kind::First => cards.logical("EXTEND", true),
        Kind::Extension => {
            cards.integer("PCOUNT", 0);
            cards.integer("GCOUNT", 1);
        }
    }
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
    fn several_pictures_lie_in_one_file() {
        let folder = tempfile::tempdir().expect("folder");
        let path = folder.path().join("two.fits");
        let [one, other] = [[1.0, 2.0, f32::NAN], [4.0, 5.0, 6.0]].map(|values| {
            Plane::new(ndarray::Array2::from_shape_vec((1, 3), values.to_vec()).expect("shape"))
        });
        let about = |name: &str| About {
            texts: vec![("EXTNAME", name.to_owned())],
            ..About::default()
        };
        let (first, second) = (about("RATIO"), about("SIGMA"));
        prepare_all(&path, &[(&one, &first), (&other, &second)], &|_| ())
            .expect("written")
            .publish()
            .expect("published");
        for (hdu, name, values) in [(0, "RATIO", &one), (1, "SIGMA", &other)] {
            let pick = Pick {
                hdu: Some(hdu),
                plane: None,
            };
            let opened = read::open(&path, pick).expect("opens");
            assert_eq!(opened.facts.header.text("EXTNAME").as_deref(), Some(name));
            let back = Plane::from_rows(&*opened.rows).expect("reads");
            let bits = |plane: &Plane| plane.values().mapv(f32::to_bits);
            assert_eq!(bits(&back), bits(values));
        }
    }

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
