//! Harnesses and desks for the window's tests.

use egui_kittest::Harness;
use linehue::gui::asks::{Ask, Asks};
use linehue::gui::state::State;
use linehue::gui::theme::{self, Theme};

/// A panel on its own: the state it reads, and what it asked for so far.
pub struct Stage {
    pub state: State,
    pub asked: Vec<Ask>,
}

/// A harness around one panel, `size` in points. Edits take effect on the
/// state's recipe at once, as the app does it.
pub fn panel(
    state: State,
    size: [f32; 2],
    mut show: impl FnMut(&mut egui::Ui, &State, &mut Asks) + 'static,
) -> Harness<'static, Stage> {
    let mut is_set_up = false;
    Harness::builder().with_size(size).build_ui_state(
        move |ui, stage: &mut Stage| {
            if !is_set_up {
                is_set_up = true;
                theme::set_up(ui.ctx(), Theme::Dark);
                ui.ctx().request_discard("fonts");
                return;
            }
            let mut asks = Asks::default();
            show(ui, &stage.state, &mut asks);
            for ask in asks.take() {
                match &ask {
                    Ask::Edit {
                        label,
                        recipe,
                        ongoing,
                    } => {
                        stage.state.history.propose(label, (**recipe).clone());
                        if !ongoing {
                            stage.state.history.commit();
                        }
                    }
                    Ask::Settle => stage.state.history.commit(),
                    Ask::Select(id) => stage.state.selected.clone_from(id),
                    Ask::ShowRendition(id) => stage.state.view.rendition.clone_from(id),
                    Ask::View(view) => stage.state.view = view.clone(),
                    _ => {}
                }
                stage.asked.push(ask);
            }
        },
        Stage {
            state,
            asked: Vec::new(),
        },
    )
}

/// The sample field's recipe on a desk, no channel in memory.
pub fn sample() -> State {
    let text = std::fs::read_to_string("sample-stacks/lantern/lantern.toml").unwrap();
    let recipe = linehue::engine::recipe::text::parse(&text, "lantern.toml").unwrap();
    let mut state = State::empty();
    state.view.rendition = recipe.renditions[0].id.clone();
    state.folder = "sample-stacks/lantern".into();
    state.history = linehue::work::history::History::new("Open", recipe);
    state
}
