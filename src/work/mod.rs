//! Whole jobs: from paths to files, with progress and cancel. The commands and
//! the window ask for the same jobs.

pub mod error;

pub mod progress;

pub mod inputs;

pub mod recipe_file;

pub mod prepare;

pub mod continuum;

mod arrange;

pub mod inspect;

pub mod draft;

pub mod needed;

mod parting;

mod parts;

mod spooled;

pub mod describe;

pub mod caption;

mod announce;

pub mod compose;

pub mod channels;

pub mod verify;

pub mod key;

pub mod sheet;

pub mod compare;

pub mod page;

pub mod mixing;

pub mod apart;

pub mod suggest;

pub mod leading;

pub mod balance;

pub mod ratio;

pub mod full;

pub mod targets;

pub mod user_palettes;

pub mod history;

pub mod motion;

pub mod paths;

pub mod preview;

pub mod desk;

pub mod estimate;

pub mod keep;

pub use error::Error;
pub use progress::{Control, Progress};
