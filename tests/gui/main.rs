//! The window, found by role and label as a screen reader finds it.

#![cfg(feature = "gui")]
#![expect(clippy::unwrap_used, reason = "a test may stop")]

mod apart;

mod channels;

mod balance;

mod broad;

mod continuum;

mod finish;

mod files;

mod smallest;

mod export;

mod page;

mod palettes;

mod pictures;

mod maps;

mod mix;

mod canvas;

mod support;

mod dialogs;

mod seen;

mod shell;

mod line_map;
