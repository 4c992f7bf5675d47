//! Files in and files out, nothing clever.

pub mod read;

pub mod write;

pub mod record;

pub mod spool;

pub mod draw;
