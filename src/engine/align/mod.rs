//! Channels onto the reference's grid.

pub mod matching;
pub mod transform;
