//! The app's side of pictures.

use egui::Context;

use super::app::App;
use crate::work::preview::Picture;

impl App {
    pub(super) fn picture(
        &mut self,
        context: &Context,
        slot: u32,
        generation: u64,
        picture: Picture,
    ) {
        let _ = (context, slot, generation, picture);
    }
}
