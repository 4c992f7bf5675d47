//! Rows that are costly to make, made once and kept in a file of their own.

use std::sync::Arc;

use super::Error;
use super::progress::Control;
use crate::engine::frame::{Rows, RowsError};
use crate::io::spool::Spool;

/// A copy of all rows; `tick` is called with each row that comes next.
///
/// # Errors
/// When the rows or the copy fail, or the job is stopped.
pub(super) fn spooled(
    rows: &dyn Rows,
    tick: &dyn Fn(usize) -> Result<(), RowsError>,
    control: Control<'_>,
) -> Result<Arc<dyn Rows>, Error> {
    let spool = Spool::of(rows, tick);
    control.check()?;
    Ok(Arc::new(spool?))
}
