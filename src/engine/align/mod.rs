//! Channels onto the reference's grid.

pub mod resample;
pub mod sky_grid;
pub mod transform;
