//! To come.

pub mod auto;
