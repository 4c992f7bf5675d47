//! All that a record says of its composite beside hashes: worked out while the
//! composite is made, and again when the record is checked.

use super::compose::Request;
use super::inputs::Input;
use super::parts::Sources;
use super::prepare::Preparation;
use super::{Control, Error, caption, describe};
use crate::engine::caption::write as write_caption;
use crate::engine::compose::Composition;
use crate::engine::frame::{Rows, Size};
use crate::engine::measure::Survey;
use crate::engine::recipe::Rendition;
use crate::engine::reduce::reduced_size;
use crate::io::record::Record;

/// A composite about to be made.
pub(super) struct Work<'a> {
    pub request: &'a Request,
    pub rendition: &'a Rendition,
    pub composition: &'a Composition,
    pub inputs: &'a [Input],
    pub preparation: &'a Preparation,
    pub sources: &'a Sources,
    /// The whole of the reference's grid, where it is known.
    pub reference: Option<Size>,
    /// The composite's.
    pub size: Size,
}

impl Work<'_> {
    /// The record with all that is known of the picture before its pixels are.
    pub fn announced(&self, control: Control<'_>) -> Result<Record, Error> {
        let part = self.preparation.part;
        let rows: Vec<&dyn Rows> = self.sources.rows.iter().map(|rows| &**rows).collect();
        let seen = caption::glance(self.composition, &rows, control)?;
        let mut record = describe::record(
            self.request,
            self.rendition,
            self.composition.depth(),
            self.inputs,
            self.size,
            seen,
        )?;
        let is_reduced = |edge: &usize| reduced_size(part.size, *edge).is_some();
        record.composite.long_edge = self.request.long_edge.filter(is_reduced);
        if self.reference.is_some_and(|whole| whole != part.size) {
            let ([x, y], Size { width, height }) = (part.origin, part.size);
            record.crop = Some([x, y, width, height]);
        }
        record.notices.extend(self.preparation.notices.clone());
        record.notices.extend(self.sources.notices.clone());
        let facts = caption::facts(&record, self.rendition);
        record.integration_s = facts.integration_s();
        record.caption = write_caption(&facts);
        Ok(record)
    }

    /// Adds what was seen of each channel while its pixels went by.
    pub fn add_measures(&self, record: &mut Record, surveys: &[Survey]) {
        let seen = self
            .composition
            .channels()
            .zip(&self.sources.said)
            .zip(surveys);
        let seen: Vec<_> = seen.collect();
        let prepared = self
            .preparation
            .indices
            .iter()
            .zip(&self.preparation.channels);
        for (index, channel) in prepared {
            let id = &self.request.recipe.channels[*index].id;
            let Some(entry) = record.inputs.iter_mut().find(|entry| entry.channel == *id) else {
                continue;
            };
            entry.align.clone_from(&channel.align);
            entry.level.clone_from(&channel.level);
            entry.continuum.clone_from(&channel.continuum);
            if let Some(((_, said), survey)) = seen.iter().find(|((own, _), _)| own == index) {
                entry.sky = survey.levels.map(|levels| levels.sky);
                entry.noise = survey.levels.map(|levels| levels.noise);
                if survey.levels.is_none() {
                    let notice = format!("{id}: no pixel holds data; it adds nothing");
                    record.notices.push(notice);
                }
                entry.noise_smoothed.clone_from(&said.noise);
                entry.stars.clone_from(&said.stars);
            }
        }
    }
}
