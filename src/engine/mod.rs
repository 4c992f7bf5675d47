//! The pure part: no files, no clock, no window. Parallel loops are fine.

pub mod frame;

pub mod header;

pub mod recipe;

pub mod lines;

pub mod measure;

pub mod align;

pub mod crop;

pub mod full;

pub mod level;

pub mod reduce;

pub mod stretch;

pub mod mix;

pub mod denoise;

pub mod detail;

pub mod separate;

pub mod finish;

pub mod encode;

pub mod compose;

pub mod color;

pub mod balance;

pub mod continuum;

pub mod palettes;

pub mod apart;

pub mod leading;

pub mod ratio;

pub mod caption;

pub mod key;

pub mod wcs;

pub mod exposure;

pub mod num;
