//! Colour: spaces, conversions, the eye, words.

pub mod css;

pub mod edge;

pub mod natural;

pub mod oklab;

pub mod space;

pub mod transfer;

pub mod words;
