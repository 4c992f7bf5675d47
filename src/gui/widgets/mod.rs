//! Parts that several panels share.

pub mod form;

pub mod dialog;

pub mod output;

pub mod icon;

pub mod stretch;
