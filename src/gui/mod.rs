//! The window: shows what lies on the desk and asks for changes. It computes
//! nothing: every number and every pixel comes from the inner rings.

pub mod start;

pub mod app;

mod events;

mod opened;

mod layers;

mod act;

mod keys;

mod exporting;

mod drawing;

mod balancing;

mod maps;

pub mod names;

pub mod words;

mod suggesting;

pub mod habits;

mod pictures;

pub mod files;

pub mod dialogs;

pub mod state;

pub mod asks;

pub mod command;

pub mod theme;

pub mod panels;

pub mod widgets;
