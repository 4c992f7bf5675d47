//! Parts that several panels share.

pub mod form;

pub mod icon;

pub mod stretch;
