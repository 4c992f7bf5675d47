//! Linehue.

pub mod engine;

pub mod io;

pub mod work;

pub mod cli;
