//! What really lands on the screen, drawn by a software renderer.
//!
//! Where there is none these tests step aside, unless
//! LINEHUE_WINDOW_TESTS=insist.

use egui_kittest::Harness;
use linehue::gui::app::{App, Opening};
use linehue::gui::theme::{self, Theme};
use linehue::work::desk::Worker;

struct Drawn {
    width: usize,
    rgba: Vec<u8>,
}

impl Drawn {
    fn at(&self, x: usize, y: usize) -> [u8; 3] {
        let at = 4 * (y * self.width + x);
        [self.rgba[at], self.rgba[at + 1], self.rgba[at + 2]]
    }
}

/// The window on the sample field, all channels in memory.
fn window(look: Theme) -> Harness<'static, App> {
    let recipe = "sample-stacks/lantern/lantern.toml".into();
    let mut harness = Harness::builder()
        .with_size([1280.0, 800.0])
        .with_context_setup(move |context| theme::set_up(context, look))
        .build_eframe(move |_| {
            let mut app = App::new(Worker::inline(), Opening::Files(vec![recipe]));
            app.state.theme = look;
            app
        });
    harness.run_steps(8);
    harness
}

fn drawn(harness: &mut Harness<'_, App>) -> Option<Drawn> {
    let image = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| harness.render()));
    let insist = std::env::var("LINEHUE_WINDOW_TESTS").is_ok_and(|value| value == "insist");
    match image {
        Ok(Ok(image)) => Some(Drawn {
            width: image.width() as usize,
            rgba: image.into_raw(),
        }),
        _ if insist => panic!("there is no renderer"),
        _ => {
            eprintln!("skipped: no renderer");
            None
        }
    }
}

#[test]
fn the_pixels_on_the_screen_are_the_pixels_of_the_path() {
    let mut harness = window(Theme::Dark);
    let Some(screen) = drawn(&mut harness) else {
        return;
    };
    let state = &harness.state().state;
    let shown = state.pictures.shown(0).unwrap();
    let (pane, size) = (state.pane.unwrap(), state.size().unwrap());
    let corner = pane
        .mapping(pane.place(state.view.place, size))
        .screen(shown.picture.grid.corner)
        .map(|edge| edge.round() as usize);
    let grid = shown.picture.grid.size;
    let (mut compared, mut worst) = (0, 0);
    // The upper two thirds: no control lies over them.
    for y in (4..grid.height * 2 / 3).step_by(3) {
        for x in (4..grid.width - 4).step_by(3) {
            let at = 4 * (y * grid.width + x);
            let wanted = &shown.picture.rgba[at..at + 3];
            let seen = screen.at(corner[0] + x, corner[1] + y);
            for (a, b) in wanted.iter().zip(seen) {
                worst = worst.max(a.abs_diff(b));
            }
            compared += 1;
        }
    }
    assert!(compared > 5000, "{compared}");
    assert!(worst <= 1, "a pixel is off by {worst}");
}

#[test]
fn at_night_nothing_but_red_is_shown() {
    let mut harness = window(Theme::Night);
    let Some(screen) = drawn(&mut harness) else {
        return;
    };
    let mut lit = 0;
    for pixel in screen.rgba.chunks(4) {
        let [r, g, b] = [pixel[0], pixel[1], pixel[2]];
        assert!(
            g.max(b) <= r / 2 + 6,
            "{r} {g} {b} is not red: it spoils night vision"
        );
        lit += usize::from(r > 100);
    }
    assert!(lit > 1000, "nothing can be read");
}

#[test]
fn words_stand_out_from_their_ground_in_every_theme() {
    // WCAG 2.2, 1.4.3: 4.5 : 1 for words.
    let light = |color: egui::Color32| {
        let [r, g, b, _] = color.to_array();
        let part =
            |code: u8| linehue::engine::color::transfer::srgb_decode_exact(f64::from(code) / 255.0);
        0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b)
    };
    for look in [Theme::Dark, Theme::Light] {
        let colors = look.colors();
        for ground in [colors.panel, colors.card, colors.well] {
            for words in [colors.text, colors.faint, colors.warning, colors.error] {
                let (a, b) = (light(words), light(ground));
                let ratio = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                assert!(
                    ratio >= 4.5,
                    "{look:?}: {words:?} on {ground:?} is {ratio:.2}"
                );
            }
        }
        let ratio = (light(colors.accent).max(light(colors.on_accent)) + 0.05)
            / (light(colors.accent).min(light(colors.on_accent)) + 0.05);
        assert!(ratio >= 4.5, "{look:?}: the accent's words, {ratio:.2}");
    }
}
