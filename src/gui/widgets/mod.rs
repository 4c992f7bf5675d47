//! Parts that several panels share.

pub mod icon;
