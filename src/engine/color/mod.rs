//! Colour: spaces, conversions, the eye.

pub mod difference;

pub mod space;

pub mod vision;
