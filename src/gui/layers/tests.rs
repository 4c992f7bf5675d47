//! The window alone with its desk: what is asked for and when, on the sample's
//! three lines with neutral stars.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};

use egui::Context;

use crate::engine::recipe::{Crop, Recipe, ShowStars, StarLook};
use crate::gui::app::{App, Opening, Purpose};
use crate::gui::asks::Ask;
use crate::gui::command::Command;
use crate::work::desk::{Apart, Event, Ticket, Worker, lacking};

fn sample() -> Vec<PathBuf> {
    vec!["sample-stacks/lantern/lantern.toml".into()]
}

/// A window whose desk waits for leave after each event it tells.
struct Stepped {
    // These go first: without them the desk runs freely, and can be left.
    told: Receiver<()>,
    go: SyncSender<()>,
    app: App,
}

impl Stepped {
    fn new() -> Self {
        let (tell, told) = sync_channel(0);
        let (go, leave) = sync_channel(0);
        let leave = Mutex::new(leave);
        let worker = Worker::spawn(move || {
            if tell.send(()).is_ok() {
                leave.lock().expect("whole").recv().ok();
            }
        });
        let app = App::new(worker, Opening::Nothing);
        Self { told, go, app }
    }

    /// Lets the desk go on, event by event, until the window is as it is wanted;
    /// then the desk waits.
    fn until(&mut self, wanted: impl Fn(&App) -> bool) {
        loop {
            self.told.recv().expect("more is told");
            take(&mut self.app);
            if wanted(&self.app) {
                return;
            }
            self.go_on();
        }
    }

    fn go_on(&self) {
        self.go.send(()).expect("it waits");
    }

    /// Lets the desk go on until a job is over; whether it was stopped.
    fn is_stopped(&mut self, of: Ticket) -> bool {
        loop {
            self.go_on();
            self.told.recv().expect("more is told");
            for event in self.app.worker.events() {
                if let Event::Finished { ticket, cancelled } = event
                    && ticket == of
                {
                    return cancelled;
                }
            }
        }
    }

    /// The sample's stars are being told apart; the desk waits.
    fn telling() -> (Self, Ticket) {
        let mut stepped = Self::new();
        stepped.app.open(sample());
        stepped.until(|app| app.purposes.is_empty());
        edit(&mut stepped.app, neutral);
        stepped.app.reconcile();
        let ticket = under_way(&stepped.app).expect("parts are asked for");
        stepped.go_on();
        stepped.until(|app| app.state.jobs.iter().any(|job| !job.step.is_empty()));
        (stepped, ticket)
    }
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

fn under_way(app: &App) -> Option<Ticket> {
    let mut parts = app.purposes.iter();
    let parts = parts.find(|(_, purpose)| **purpose == Purpose::Parts);
    parts.map(|(ticket, _)| *ticket)
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

/// Channels that must be read come before parts of those that go: these can
/// take minutes.
#[test]
fn what_is_made_of_old_channels_stops_before_others_come() {
    let ways: [fn(&mut App); 3] = [
        |app| {
            edit(app, |recipe| {
                recipe.crop = Some(Crop::Part([40, 40, 400, 300]))
            });
            app.reconcile();
        },
        |app| app.open(sample()),
        prepare,
    ];
    for (index, begin) in ways.into_iter().enumerate() {
        let (mut stepped, ticket) = Stepped::telling();
        begin(&mut stepped.app);
        assert!(stepped.is_stopped(ticket), "{index}");
    }
}

/// While others are on their way, parts of the channels that are there could
/// come too late and fall on those.
#[test]
fn nothing_is_made_of_channels_that_are_about_to_go() {
    let ways: [fn(&mut App); 2] = [|app| app.open(sample()), prepare];
    for begin in ways {
        let mut app = App::new(Worker::inline(), Opening::Nothing);
        app.open(sample());
        settle(&mut app);
        begin(&mut app);
        edit(&mut app, neutral);
        app.reconcile();
        assert_eq!(under_way(&app), None);
        settle(&mut app);
        edit(&mut app, neutral);
        settle(&mut app);
        assert_eq!(lacks(&app), [""; 0]);
    }
}

/// Stop means stop, also where a channel is done with already.
#[test]
fn what_was_stopped_does_not_start_again_by_itself() {
    let (mut stepped, ticket) = Stepped::telling();
    stepped.go_on();
    stepped.until(|app| lacks(app).len() == 2);
    stepped.app.worker.cancel(ticket);
    stepped.go_on();
    stepped.until(|app| !app.purposes.contains_key(&ticket));
    let app = &mut stepped.app;
    assert_eq!(lacks(app).len(), 2);
    assert_eq!(under_way(app), None, "it was stopped");
    // Nor with an edit that wants nothing new.
    edit(app, |recipe| recipe.renditions[0].saturation = Some(0.9));
    app.reconcile();
    assert_eq!(under_way(app), None);
    assert!(app.state.parts_stopped, "the status line says so");
    // It is not wanted, and then it is: still stopped.
    edit(app, |recipe| {
        for rendition in &mut recipe.renditions {
            rendition.stars = None;
        }
    });
    app.reconcile();
    assert!(!app.state.parts_stopped, "nothing is lacking");
    edit(app, neutral);
    app.reconcile();
    assert!(under_way(app).is_none() && app.state.parts_stopped);
    // The user's word starts it again, and it ends.
    app.carry_out(&Context::default(), vec![Ask::GoOnWithParts]);
    app.reconcile();
    assert!(under_way(app).is_some() && !app.state.parts_stopped);
    stepped.go_on();
    stepped.until(|app| app.purposes.is_empty());
    assert_eq!(lacks(&stepped.app), [""; 0]);
}

fn sets(app: &App, id: &str) -> Vec<Apart> {
    app.state.layers[id].parts.apart.clone()
}

/// Each set of planes is as large as the channel itself.
#[test]
fn stars_that_no_rendition_wants_apart_any_more_are_let_go() {
    let mut app = told();
    let all = || ["ha", "oiii", "sii"].map(str::to_owned);
    let by = |set: &Apart| -> Vec<String> {
        set.by.iter().map(|teller| teller.channel.clone()).collect()
    };
    edit(&mut app, |recipe| {
        recipe.renditions[1].colors.remove("sii");
    });
    settle(&mut app);
    let two = sets(&app, "ha");
    assert_eq!(two.len(), 2);
    let gone = two.iter().find(|set| by(set).len() == 2).expect("of two");
    let gone = Arc::downgrade(&gone.nebula.plane);
    drop(two);
    edit(&mut app, |recipe| recipe.renditions[1].stars = None);
    settle(&mut app);
    for id in all() {
        let left: Vec<_> = sets(&app, &id).iter().map(by).collect();
        assert_eq!(left, [all()], "{id}");
    }
    assert!(gone.upgrade().is_none(), "somebody holds it");
    // What was made last stays for a rendition that wants it again.
    edit(&mut app, |recipe| recipe.renditions[0].stars = None);
    settle(&mut app);
    assert_eq!(sets(&app, "ha").len(), 1);
}

/// Until a channel has what is wanted of it, what it had stands in.
#[test]
fn stars_told_apart_by_others_stay_until_there_is_better() {
    let (mut stepped, _) = Stepped::telling();
    stepped.go_on();
    stepped.until(|app| app.purposes.is_empty());
    let app = &mut stepped.app;
    edit(app, |recipe| {
        for rendition in &mut recipe.renditions {
            rendition.colors.remove("sii");
        }
    });
    app.reconcile();
    assert!(under_way(app).is_some());
    assert_eq!(sets(app, "ha").len(), 1);
}

/// Heights cost a plane of each channel, and are soon made of what is there.
#[test]
fn heights_on_stars_are_made_when_a_look_needs_them_and_stars_are_not_sought_again() {
    let mut app = told();
    let before = sets(&app, "ha").remove(0);
    assert!(before.heights.whole().is_none());
    edit(&mut app, |recipe| {
        let look = recipe.renditions[0].stars.as_mut().expect("set");
        look.size = 0.7;
    });
    assert_eq!(lacks(&app).len(), 3);
    settle(&mut app);
    assert_eq!(lacks(&app), [""; 0]);
    let after = sets(&app, "ha").remove(0);
    assert!(Arc::ptr_eq(&before.nebula.plane, &after.nebula.plane));
    let heights = after.heights.whole().expect("made");
    let highest = heights.plane.values().iter().copied().fold(0.0, f32::max);
    assert!((0.9..=1.0).contains(&highest), "{highest}");
}
