//! Two renditions one after the other: slowly, started by hand, and never where
//! the system asks for still pictures.

use egui::{Id, Ui};

use super::pictures::{comparison, other};
use crate::gui::state::{Compare, State};

/// Seconds that each rendition is shown. Never below 0.5: at most two changes
/// a second.
pub const PERIOD: f64 = 1.2;

const CAUTION: &str = "Alternating pictures can trouble people sensitive to flashing.";

/// What is remembered while two renditions are shown in turns.
#[derive(Debug, Clone, Default, PartialEq)]
struct Memory {
    pair: [String; 2],
    since: Option<f64>,
    swapped: bool,
}

/// Whether the other one is shown, so many seconds after the start.
pub fn is_other(seconds: f64) -> bool {
    (seconds / PERIOD).floor() % 2.0 >= 1.0
}

/// Whether movement is unwanted.
pub fn is_still(ui: &Ui) -> bool {
    ui.style().animation_time <= 0.0
        || std::env::var_os("LINEHUE_REDUCED_MOTION").is_some_and(|value| value != "0")
}

fn memory(ui: &Ui, state: &State) -> (Id, Memory) {
    let id = Id::unique("canvas turns");
    let pair = [
        state.rendition().map_or("", |rendition| &rendition.id),
        other(state).unwrap_or(""),
    ]
    .map(str::to_owned);
    let kept: Memory = ui.ctx().data(|data| data.get_temp(id)).unwrap_or_default();
    // Other renditions: to be started anew.
    let memory = if kept.pair == pair && comparison(state) == Compare::Turns {
        kept
    } else {
        Memory {
            pair,
            ..Memory::default()
        }
    };
    ui.ctx()
        .data_mut(|data| data.insert_temp(id, memory.clone()));
    (id, memory)
}

/// The caution, while renditions are to be shown in turns.
pub fn caution(ui: &Ui, state: &State) -> Option<&'static str> {
    // Also forgets a start as soon as another comparison is chosen.
    memory(ui, state);
    (comparison(state) == Compare::Turns).then_some(CAUTION)
}

/// Whether the other rendition is shown now; asks for the next frame in time.
pub fn is_other_now(ui: &Ui, state: &State) -> bool {
    let (_, memory) = memory(ui, state);
    let Some(since) = memory.since.filter(|_| !is_still(ui)) else {
        return memory.swapped;
    };
    let passed = ui.input(|input| input.time) - since;
    let next = (PERIOD - passed % PERIOD).max(0.01);
    ui.ctx()
        .request_repaint_after(std::time::Duration::from_secs_f64(next));
    is_other(passed) != memory.swapped
}

/// The controls of the turns.
pub fn show(ui: &mut Ui, state: &State) {
    let (id, mut memory) = memory(ui, state);
    let now = ui.input(|input| input.time);
    ui.horizontal(|ui| {
        if is_still(ui) {
            memory.since = None;
        } else if memory.since.is_none() {
            if ui.button("Start alternating").clicked() {
                memory.since = Some(now);
            }
        } else if ui.button("Stop alternating").clicked() {
            // What is seen stays.
            memory.swapped = is_other_now(ui, state);
            memory.since = None;
        }
        if memory.since.is_none() && ui.button("Swap").clicked() {
            memory.swapped = !memory.swapped;
        }
    });
    ui.ctx().data_mut(|data| data.insert_temp(id, memory));
}
