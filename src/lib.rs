//! Linehue: deep grey stacks, one for each filter, become a colour composite
//! with a record of which emission line went to which hue.
//!
//! # The path
//!
//! ```text
//! read      io::read          FITS, TIFF and PNG as rows in file units
//! align     engine::align     onto the reference's grid
//! level     engine::level     the sky glow out
//! stretch   engine::stretch   file units to a tone
//! mix       engine::mix       tones and colours to light
//! finish    engine::finish    luminance, saturation, output space, gamut
//! encode    engine::encode    light to code values
//! write     io::write         TIFF, PNG, JPEG, FITS, with tags
//! record    io::record        what was done, to do it again
//! ```
//!
//! [`engine::compose`] knows the order of the steps on pixels, [`work::compose`]
//! tells the whole job from paths to files.
//!
//! # The rings
//!
//! Imports point inward: `cli` -> [`work`] -> [`io`] -> [`engine`]. The engine is
//! pure: no files, no clock, and the same bits on every machine for any number
//! of threads.
//!
//! # Out of scope
//!
//! Calibrating and stacking single frames, and retouching: Linehue starts from
//! finished stacks, and adds or removes no structure of the sky.

pub mod engine;

pub mod io;

pub mod work;

pub mod cli;

#[cfg(feature = "gui")]
pub mod gui;
