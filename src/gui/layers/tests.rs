//! The window alone with its desk: what is asked for and when, on the sample's
//! three lines with neutral stars.

use std::path::PathBuf;

use egui::Context;

use crate::engine::recipe::{Recipe, ShowStars, StarLook};
use crate::gui::app::{App, Opening};
use crate::gui::asks::Ask;
use crate::gui::command::Command;
use crate::work::desk::{Worker, lacking};

fn sample() -> Vec<PathBuf> {
    vec!["sample-stacks/lantern/lantern.toml".into()]
}

/// What the window does before each frame.
fn take(app: &mut App) {
    app.take_events(&Context::default());
    app.reconcile();
}

/// The same until nothing is under way, on a desk without threads.
fn settle(app: &mut App) {
    while {
        take(app);
        !app.purposes.is_empty()
    } {}
}

fn neutral(recipe: &mut Recipe) {
    for rendition in &mut recipe.renditions {
        rendition.stars = Some(StarLook {
            show: ShowStars::Neutral,
            ..StarLook::default()
        });
    }
}

fn edit(app: &mut App, change: impl FnOnce(&mut Recipe)) {
    let mut recipe = app.state.recipe().clone();
    change(&mut recipe);
    app.state.history.set("Edit", recipe);
}

/// The sample on a desk without threads, all stars told apart.
fn told() -> App {
    let mut app = App::new(Worker::inline(), Opening::Nothing);
    app.open(sample());
    settle(&mut app);
    edit(&mut app, neutral);
    settle(&mut app);
    assert!(lacks(&app).is_empty());
    app
}

fn prepare(app: &mut App) {
    app.carry_out(&Context::default(), vec![Ask::Run(Command::Prepare)]);
}

fn lacks(app: &App) -> Vec<String> {
    lacking(app.state.recipe(), &app.state.layers)
}

/// Channels that are read anew come without their parts. Were these not asked
/// for again, the picture would show stars that an export takes off.
#[test]
fn channels_that_come_anew_lose_their_stars_again() {
    let mut app = told();
    prepare(&mut app);
    settle(&mut app);
    let mut steps = app.state.history.steps().iter();
    assert!(steps.any(|step| step.label == "Prepare"));
    assert_eq!(lacks(&app), [""; 0], "prepared");
    // The same recipe, and the same wishes once more.
    for _ in 0..2 {
        app.open(sample());
        settle(&mut app);
        edit(&mut app, neutral);
        settle(&mut app);
        assert_eq!(lacks(&app), [""; 0], "opened");
    }
}
