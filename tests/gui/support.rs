//! Harnesses and desks for the window's tests.

use std::fs;
use std::path::Path;

use egui::accesskit::Role;
use egui::{Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::frame::Plane;
use linehue::engine::measure::{self, Histogram};
use linehue::gui::app::{App, Opening};
use linehue::gui::asks::{Ask, Asks};
use linehue::gui::state::State;
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::{Layer, LayerKey, Worker};

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
                theme::set_up(ui.ctx(), stage.state.theme);
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
    let text = fs::read_to_string("sample-stacks/lantern/lantern.toml").unwrap();
    let recipe = linehue::engine::recipe::text::parse(&text, "lantern.toml").unwrap();
    let mut state = State::empty();
    state.view.rendition = recipe.renditions[0].id.clone();
    state.folder = "sample-stacks/lantern".into();
    state.history = linehue::work::history::History::new("Open", recipe);
    state
}

/// The whole window on a copy of the sample field, and its folder.
pub fn window_on_copy() -> (Harness<'static, App>, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern");
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
    }
    let recipe = folder.path().join("lantern.toml");
    let mut harness = Harness::builder()
        .with_size([1440.0, 900.0])
        .with_max_steps(30)
        .with_context_setup(|context| theme::set_up(context, Theme::Dark))
        .build_eframe(move |_| App::new(Worker::inline(), Opening::Files(vec![recipe])));
    harness.run_steps(6);
    (harness, folder)
}

/// Runs the first command that these words find.
pub fn run_by_name(harness: &mut Harness<'static, App>, words: &str) {
    harness.key_press_modifiers(Modifiers::COMMAND, Key::K);
    harness.run_steps(3);
    harness
        .get_by_role_and_label(Role::TextInput, "Search commands")
        .type_text(words);
    harness.run_steps(2);
    harness.key_press(Key::Enter);
    harness.run_steps(3);
}

/// A small channel in memory: sky with noise about it (file units), and a
/// nebula 80 times as bright as the noise in its middle.
pub fn layer(width: usize, height: usize, sky: f32, noise: f32) -> std::sync::Arc<Layer> {
    under_glow(width, height, sky, noise, 0.0)
}

/// The same under a glow that rises from nothing at the left to `glow` (file
/// units) at the right.
pub fn under_glow(
    width: usize,
    height: usize,
    sky: f32,
    noise: f32,
    glow: f32,
) -> std::sync::Arc<Layer> {
    let mut seed = 1_u32;
    let mut uniform = move || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 8) as f32 / 16_777_216.0
    };
    let values = ndarray::Array2::from_shape_fn((height, width), |(row, column)| {
        // Twelve uniform numbers make a normal one, near enough.
        let normal = (0..12).map(|_| uniform()).sum::<f32>() - 6.0;
        let x = (column as f32 + 0.5) / width as f32 - 0.5;
        let y = (row as f32 + 0.5) / height as f32 - 0.5;
        let nebula = (1.0 - 8.0 * (x * x + y * y)).max(0.0);
        sky + glow * (x + 0.5) + noise * (normal + 80.0 * nebula * nebula * nebula)
    });
    let plane = Plane::new(values);
    let mut go_on = |_, _| std::ops::ControlFlow::Continue(());
    let survey = measure::survey(&plane, None, &mut go_on).unwrap();
    std::sync::Arc::new(Layer {
        key: LayerKey {
            file: "lantern.fits".into(),
            hdu: None,
            plane: None,
            align: None,
            level: None,
            continuum: None,
            crop: None,
            grid: None,
        },
        plane: plane.into(),
        reduced: Vec::new(),
        header: std::sync::Arc::default(),
        levels: survey.levels,
        signal_to_noise: measure::signal_to_noise(&survey),
        origin: [0, 0],
        histogram: Histogram::of(&survey).into(),
        ceiling: None,
        full: None,
        exposure_s: Some(24_000.0),
        align: None,
        level: None,
        model: None,
        continuum: None,
        parts: Default::default(),
    })
}
