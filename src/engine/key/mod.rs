//! The drawing that says which light became which colour, as plain data: a
//! spectrum above, a hue scale below, a thread from each channel to its end.
//! The window draws it, and a colour key is written from it.
//!
//! Lengths run along the drawing: 0 is its left edge, 1 its right edge.

pub mod axis;

pub mod curve;

pub mod layout;

pub mod shade;

pub mod snap;

pub mod spread;

pub mod strip;

pub use axis::Axis;
pub use layout::{Drawing, End, Kind, Metrics, Thread, drawing};
pub use shade::Shade;
