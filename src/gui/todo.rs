use super::app::App;
use crate::work::preview::Picture;
use std::path::PathBuf;
impl App {
    pub(super) fn picture(
        &mut self,
        context: &egui::Context,
        slot: u32,
        generation: u64,
        picture: Picture,
    ) {
        let _ = (context, slot, generation, picture);
    }
    pub(super) fn exported(&mut self, ticket: u64, path: PathBuf, record: PathBuf, bytes: u64) {
        let _ = (ticket, path, record, bytes);
    }
    pub(super) fn auto_stretch(&mut self, id: &str) {
        let _ = id;
    }
    pub(super) fn open_export(&mut self) {}
    pub(super) fn export_path_chosen(&mut self, path: PathBuf) {
        let _ = path;
    }
    pub(super) fn remember(&mut self, paths: &[PathBuf]) {
        let _ = paths;
    }
    pub(super) fn hints_seen(&mut self) {}
    pub(super) fn closing(&mut self) {}
}
