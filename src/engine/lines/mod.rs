//! Emission lines: their table, how filters name them, what filters let through.

pub mod passband;

pub mod recognise;

mod spelling;

pub mod table;

pub use passband::{Passing, also_passes};
pub use recognise::{Recognition, recognise};
pub use table::{Line, line, lines};
