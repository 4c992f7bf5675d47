//! Parts that several panels share.

pub mod form;

pub mod dialog;

pub mod icon;

pub mod stretch;
