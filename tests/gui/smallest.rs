//! The smallest window and the narrowest panels, with everything on.

use egui::accesskit::Role;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use linehue::engine::recipe::{BalancedBy, Continuum, ShowStars, check};
use linehue::gui::panels::{channels, mix};
use linehue::gui::state::{Picking, State};
use linehue::gui::theme::Theme;
use linehue::work::history::History;

use super::broad::{broad, click, open, picture, window};
use super::support::{Stage, panel};

/// Everything on: what has the most to show.
fn full() -> State {
    let mut state = broad();
    let mut recipe = state.recipe().clone();
    recipe.channels[1].denoise = Some(0.4);
    recipe.channels[1].continuum = Some(Continuum {
        from: "r".to_owned(),
        scale: Some(0.125),
    });
    let own = recipe.channels[3].stretch.clone();
    let shown = &mut recipe.renditions[0];
    shown.smooth_color = Some(0.3);
    let mut light = linehue::work::mixing::all_alike(shown, 0.8);
    light.stretch = Some(own);
    light.detail = Some(0.35);
    shown.luminance = Some(light);
    shown.balance = Some(linehue::engine::recipe::Balance {
        gains: [1.2345, 1.0, 0.8765],
        sky: None,
        by: BalancedBy::Catalogue,
        uncertainty: Some([0.012, 0.008, 0.021]),
        stars: Some(214),
        catalogue: Some("lantern-field-of-stars-with-colours.csv".to_owned()),
    });
    shown.stars = Some(linehue::engine::recipe::StarLook {
        show: ShowStars::Broadband,
        size: 0.7,
        brightness: 0.9,
    });
    assert_eq!(check::whole(&recipe), Ok(()));
    state.history = History::new("Open", recipe);
    state
}

/// Words that are painted with their end left off.
fn cut_off(harness: &Harness<'static, Stage>) -> Vec<String> {
    let shapes = harness.output().shapes.iter();
    let texts = shapes.filter_map(|clipped| match &clipped.shape {
        egui::Shape::Text(text) if text.galley.elided => Some(text.galley.text().to_owned()),
        _ => None,
    });
    texts.collect()
}

#[test]
fn nothing_is_cut_off_in_the_smallest_window() {
    for look in Theme::ALL {
        // As narrow as the panel can be pulled, and a field of it that long.
        let mut state = full();
        state.theme = look;
        let width = 264.0 - 16.0;
        let mut harness = panel(state, [width, 3000.0], mix::show);
        harness.run();
        for section in ["Stars", "White balance", "Noise"] {
            open(&mut harness, section);
        }
        let names = [
            "As mixed",
            "Neutral",
            "RGB",
            "None",
            "Star size, number",
            "Star size as it is",
            "Star brightness, number",
            "Star brightness as it is",
            "Gain of R",
            "Gain of G",
            "Gain of B",
            "Average star",
            "A star ...",
            "A patch ...",
            "Catalogue ...",
            "Reset the white balance",
            "Smoother colours, number",
            "Without noise reduction",
            "Brightness from L alone",
            "Brightness detail, number",
            "Stretched by itself",
            "Value of the white point of the brightness",
            "Shape bias of the brightness",
            "Usual amount of the brightness",
        ];
        for name in names {
            let rect = harness.get_by_label(name).rect();
            let fits = rect.min.x >= 0.0 && rect.max.x <= width && rect.width() >= 16.0;
            assert!(fits, "{name} in {look:?}: {rect:?}");
        }
        for word in cut_off(&harness) {
            assert!(!names.contains(&word.as_str()), "{word} is cut off");
        }
        picture(&mut harness, &format!("mix-{look:?}"));

        let mut state = full();
        state.theme = look;
        let width = 250.0 - 16.0;
        let mut harness = panel(state, [width, 1500.0], channels::show);
        harness.run();
        for name in ["Noise of Hα, number", "Noise of Hα for all"] {
            let rect = harness.get_by_label(name).rect();
            assert!(rect.max.x <= width, "{name} in {look:?}: {rect:?}");
        }
        click(&mut harness, Role::Button, "More for Hα");
        for name in ["Continuum of Hα from B", "Continuum factor of Hα"] {
            let rect = harness.get_by_label(name).rect();
            let fits = rect.min.x >= 0.0 && rect.max.x <= width;
            assert!(fits, "{name} in {look:?}: {rect:?}");
        }
        picture(&mut harness, &format!("channels-{look:?}"));
    }
}

#[test]
fn the_banner_of_picking_fits_the_smallest_window() {
    for look in Theme::ALL {
        let mut harness = window(full(), [1024.0, 640.0], look);
        harness.state_mut().state.picking = Some(Picking::Patch);
        harness.run_steps(3);
        let picture = harness.get_by_label("Picture").rect();
        let leave = harness.get_by_label("Leave it").rect();
        assert!(picture.contains_rect(leave), "{leave:?} in {picture:?}");
        if let Some(folder) = std::env::var_os("LINEHUE_PANEL_PICTURES") {
            let file = std::path::Path::new(&folder).join(format!("window-{look:?}.png"));
            harness.render().unwrap().save(file).unwrap();
        }
    }
}
