//! The parts of the window. Each shows some of the state and pushes asks.

pub mod top;

pub mod about;

pub mod canvas;

pub mod channels;

pub mod export;

pub mod drawing;

pub mod line_map;

pub mod mix;

pub mod status;

pub mod hints;
