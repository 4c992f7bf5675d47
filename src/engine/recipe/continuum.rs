//! The light of stars in a narrow channel, taken out by a broad one.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::text::nearest_hint;
use super::{Channel, Recipe};
use crate::engine::lines;

/// The channel less a scaled broad one, so that emission alone remains.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Continuum {
    /// Id of the broad channel.
    pub from: String,
    /// Factor on the broad channel's light above its sky, at least 0; absent:
    /// fitted on stars, whose light is continuum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
}

impl Continuum {
    pub(super) fn check(&self, own: &Channel, recipe: &Recipe) -> Result<(), (String, String)> {
        let Self { from, scale } = self;
        let Some(broad) = recipe.channel(from) else {
            let ids = recipe.channels.iter().map(|channel| channel.id.as_str());
            return Err((
                format!("`continuum.from` names the channel `{from}`, which is not there"),
                nearest_hint(from, ids),
            ));
        };
        if broad.id == own.id {
            return Err((
                "`continuum.from` names the channel itself".to_owned(),
                "name a broad channel: L, R, G or B".to_owned(),
            ));
        }
        let is_broad =
            |channel: &Channel| lines::line(&channel.line).is_some_and(lines::Line::is_broad);
        if !is_broad(broad) {
            return Err((
                format!("`continuum.from = \"{from}\"` is no broad channel"),
                "the light of one line says nothing of the stars: name L, R, G or B".to_owned(),
            ));
        }
        if is_broad(own) {
            return Err((
                "`continuum` is for narrow channels".to_owned(),
                "take it out of this broad one".to_owned(),
            ));
        }
        match scale {
            Some(scale) if !scale.is_finite() || *scale < 0.0 => Err((
                format!("`continuum.scale = {scale}` is no factor"),
                "give it a number of at least 0, or leave it out: it is fitted on stars then"
                    .to_owned(),
            )),
            _ => Ok(()),
        }
    }
}
