//! Channels onto the reference's grid.

pub mod resample;
//SKY
pub mod transform;
