//! The window, found by role and label as a screen reader finds it.

#![expect(clippy::unwrap_used, reason = "a test may stop")]

mod canvas;
mod support;
