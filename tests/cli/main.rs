//! The program from the outside: arguments in; exit code, two streams and
//! files out.
//!
//! Protects what scripts and people rely on: draft, compose and verify go
//! round, whatever the names; results do not depend on threads or memory; a
//! record holds, says what it should, and notices every change.

#[path = "../support/stacks.rs"]
mod stacks;

mod support;

mod round;

mod composites;

mod records;

mod verify;

mod palettes;

mod streams;

#[cfg(unix)]
mod pipes;
