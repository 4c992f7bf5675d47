//! Opens the window.

use std::path::PathBuf;
use std::sync::atomic::Ordering;

use super::app::{App, Opening};
use super::habits::Habits;
use super::theme;
use crate::work::desk::Worker;

/// Why there is no window.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct StartError {
    /// What is missing.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// Takes what is to be called when the program is asked to stop.
pub type WhenStopped<'a> = &'a dyn Fn(Box<dyn Fn() + Send>);

/// Opens the window on some files (none: the sample field) and returns when
/// it is closed, by the user or because the program is asked to stop.
///
/// # Errors
/// Where there is no display, or none that can be drawn on.
pub fn open(files: Vec<PathBuf>, when_stopped: WhenStopped<'_>) -> Result<(), StartError> {
    if !has_display() {
        return Err(StartError {
            what: "there is no display to open a window on (neither DISPLAY nor WAYLAND_DISPLAY \
                   is set)"
                .to_owned(),
            hint: String::new(),
        });
    }
    let viewport = egui::ViewportBuilder::default()
        .with_title("Linehue")
        .with_app_id("linehue")
        .with_inner_size([1440.0, 900.0])
        .with_min_inner_size([960.0, 600.0])
        .with_icon(icon())
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions {
        viewport,
        renderer: eframe::Renderer::Glow,
        // The picture's own values are shown, not values beside them.
        dithering: false,
        system_font_fallback: false,
        persist_window: false,
        ..Default::default()
    };
    let start = move || {
        eframe::run_native(
            "linehue",
            options,
            Box::new(move |creation| {
                let context = creation.egui_ctx.clone();
                let wake = context.clone();
                let worker = Worker::spawn(move || wake.request_repaint());
                let app = App::new(worker, Opening::Files(files)).with_habits(Habits::load());
                let (stop, context) = (app.stop(), context.clone());
                when_stopped(Box::new(move || {
                    stop.store(true, Ordering::Relaxed);
                    context.request_repaint();
                }));
                let context = &creation.egui_ctx;
                theme::set_up(context, app.state.theme);
                keep_still_if_asked(context);
                Ok(Box::new(app))
            }),
        )
    };
    // A library that is missing at run time ends in a panic of the window
    // library: that becomes words too.
    let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(start));
    let what = match outcome {
        Ok(Ok(())) => return Ok(()),
        Ok(Err(error)) => error.to_string(),
        Err(panic) => panic
            .downcast_ref::<String>()
            .cloned()
            .or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()))
            .unwrap_or_else(|| "the window library stopped".to_owned()),
    };
    Err(StartError {
        what: format!("the window cannot be opened: {what}"),
        hint: if cfg!(target_os = "linux") {
            "install the system libraries that the README names (X11 or Wayland, xkbcommon, GL)"
                .to_owned()
        } else {
            "see the README for what a window needs".to_owned()
        },
    })
}

// Where the system asks for little motion, nothing is animated and renditions
// do not take turns by themselves.
fn keep_still_if_asked(context: &egui::Context) {
    let context = context.clone();
    let ask = move || {
        if crate::work::motion::less_is_asked_for() {
            context.all_styles_mut(|style| style.animation_time = 0.0);
            context.request_repaint();
        }
    };
    // Without a thread to ask on, motion stays as it is.
    std::thread::Builder::new()
        .name("desktop settings".to_owned())
        .spawn(ask)
        .ok();
}

fn has_display() -> bool {
    if !cfg!(all(unix, not(target_os = "macos"))) {
        return true;
    }
    ["DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"]
        .iter()
        .any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()))
}

// Three threads from light to hue, drawn rather than shipped.
fn icon() -> egui::IconData {
    const SIDE: usize = 64;
    let threads = [
        ([0.22_f32, 0.74_f32], [70_u8, 150, 235]),
        ([0.50, 0.30], [225, 130, 70]),
        ([0.78, 0.52], [225, 205, 110]),
    ];
    let mut rgba = Vec::with_capacity(SIDE * SIDE * 4);
    for y in 0..SIDE {
        for x in 0..SIDE {
            let (u, v) = (
                (x as f32 + 0.5) / SIDE as f32,
                (y as f32 + 0.5) / SIDE as f32,
            );
            let mut color = [26_u8, 26, 28, 255];
            let eased = v * v * (3.0 - 2.0 * v);
            for ([from, to], [r, g, b]) in threads {
                let middle = from + (to - from) * eased;
                let end = (v - 0.86).abs().max((u - to).abs() * 0.9) < 0.09;
                if (u - middle).abs() < 0.035 || end {
                    color = [r, g, b, 255];
                }
            }
            rgba.extend(color);
        }
    }
    egui::IconData {
        rgba,
        width: SIDE as u32,
        height: SIDE as u32,
    }
}
