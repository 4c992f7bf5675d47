//! What the fuzz targets do with bytes. Whatever the bytes, nothing panics,
//! nothing hangs, and what was accepted can be used.

use std::io::Write as _;

use linehue::engine::recipe::text;
use linehue::io::read::{self, Pick, fits};
use linehue::io::record;

/// The header-data units of a FITS file.
pub fn fits_header(bytes: &[u8]) {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    file.write_all(bytes).expect("written");
    if let Ok(units) = fits::list(file.path()) {
        assert!(!units.is_empty());
    }
}

/// Any file: opened and read from top to bottom.
pub fn open(bytes: &[u8]) {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file");
    file.write_all(bytes).expect("written");
    for plane in [None, Some(0), Some(2)] {
        let Ok(opened) = read::open(file.path(), Pick { hdu: None, plane }) else {
            continue;
        };
        let size = opened.rows.size();
        assert!(size.width > 0 && size.height > 0);
        // Packed tiles are decoded in a process of their own, which a test is not.
        if opened.facts.container == read::Container::FitsTiled || size.pixels() > 1 << 20 {
            continue;
        }
        let mut values = vec![0.0; size.width];
        for row in 0..size.height {
            if opened.rows.read(row, &mut values).is_err() {
                break;
            }
            assert!(values.iter().all(|value| !value.is_infinite()));
        }
    }
}

/// A recipe: what is accepted is written and read again without change.
pub fn recipe(bytes: &[u8]) {
    let Ok(given) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Ok(recipe) = text::parse(given, "fuzz") {
        let written = text::write(&recipe).expect("a checked recipe writes");
        assert_eq!(text::parse(&written, "again").as_ref(), Ok(&recipe));
    }
}

/// A record, likewise.
pub fn record(bytes: &[u8]) {
    if let Ok(given) = record::parse(bytes) {
        let written = record::write(&given).expect("a parsed record writes");
        assert_eq!(record::parse(written.as_bytes()).as_ref(), Ok(&given));
    }
}
