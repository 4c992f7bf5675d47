//! Channels onto the reference's grid.

pub mod transform;
