//! Colour: spaces, conversions, the eye, differences, words.

pub mod css;

pub mod difference;

pub mod edge;

pub mod natural;

pub mod oklab;

pub mod space;

pub mod transfer;

pub mod vision;

pub mod words;
