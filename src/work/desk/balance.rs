//! A white balance, measured on what is in memory.

use super::tell::Tell;
use super::{Event, Layers};
use crate::engine::recipe::Recipe;
use crate::work::Error;
use crate::work::balance::{BalanceBy, of_layers};

/// Measures it, and tells.
///
/// # Errors
/// Where it cannot be measured, or the job is stopped.
pub fn run(
    recipe: &Recipe,
    layers: &Layers,
    rendition: String,
    by: &BalanceBy,
    tell: &Tell<'_>,
) -> Result<(), Error> {
    let measured = of_layers(recipe, layers, by, tell.control())?;
    tell.event(Event::Balanced {
        ticket: tell.ticket,
        rendition,
        balance: measured.balance,
        notices: measured.notices,
    });
    Ok(())
}
