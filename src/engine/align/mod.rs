//! Channels onto the reference's grid.

pub mod stars;

pub mod matching;

pub mod sky_grid;

pub mod transform;

pub mod resample;
