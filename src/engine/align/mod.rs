//! Channels onto the reference's grid.

pub mod stars;

pub mod matching;

pub mod transform;
