//! Colour: spaces, conversions, the eye.

pub mod space;
