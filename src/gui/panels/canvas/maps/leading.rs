//! The legend of which line leads where.

use egui::{Label, RichText, Ui};

use super::legend::{percent, row};
use super::see;
use crate::engine::apart::LOOK_ALIKE;
use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::color::transfer::srgb_decode_exact;
use crate::engine::leading::{By, DETECTED_SIGMA};
use crate::engine::ratio::words::share;
use crate::gui::asks::Asks;
use crate::gui::state::{LineMap, State};
use crate::work::preview::maps::{Found, Leader, RAMP};

pub(super) fn show(ui: &mut Ui, state: &State, by: By, found: Option<&Found>, asks: &mut Asks) {
    let colors = state.theme.colors();
    ui.horizontal(|ui| {
        for (way, word, about) in [
            (
                By::Shown,
                "By light shown",
                "The light that this rendition shows of each line above that of its sky",
            ),
            (
                By::Noise,
                "By signal to noise",
                "How far each line stands out of its noise, whatever its colour and stretch",
            ),
        ] {
            let row = ui.selectable_label(by == way, word).on_hover_text(about);
            if row.clicked() && by != way {
                see(state, Some(LineMap::Leading(way)), asks);
            }
        }
    });
    let Some(Found::Leading {
        lines,
        missing,
        undecided,
        counts,
    }) = found
    else {
        return;
    };
    let of_nebula = |count: u64| percent(share(count, counts.nebula));
    for (leader, led) in lines.iter().zip(&counts.led) {
        let hover = format!(
            "Light where {} is alone, dark where the next line is nearly level",
            leader.name
        );
        row(ui, state, &leader.ramp, &leader.name, &of_nebula(*led)).on_hover_text(hover);
    }
    row(
        ui,
        state,
        &[*undecided],
        "Undecided",
        &of_nebula(counts.undecided()),
    )
    .on_hover_text("The lead is within the noise, 1 sigma");
    let words = format!(
        "Of the {} of this view in which a line stands {DETECTED_SIGMA:.0} sigma above its sky; \
         the rest is black. Light: that line is alone; dark: the next is nearly level",
        percent(share(counts.nebula, counts.valid))
    );
    let words = RichText::new(words).small().color(colors.faint);
    ui.add(Label::new(words).wrap());
    if !missing.is_empty() {
        let words = format!(
            "Without {}: it is still being read, or its card in the list says what it needs",
            missing.join(" and ")
        );
        ui.add(Label::new(RichText::new(words).color(colors.warning)).wrap());
    }
    if let Some((one, other)) = alike(lines) {
        let words = format!("{one} and {other} have nearly one hue here: trust the figures");
        ui.add(Label::new(RichText::new(words).color(colors.warning)).wrap());
    }
}

// Two lines whose leads look the same.
fn alike(lines: &[Leader]) -> Option<(&str, &str)> {
    let lab = |leader: &Leader| {
        let light = leader.ramp[RAMP - 1].map(|code| srgb_decode_exact(f64::from(code) / 255.0));
        Lab::from_linear_srgb(light)
    };
    (1..lines.len())
        .flat_map(|other| (0..other).map(move |one| (&lines[one], &lines[other])))
        .find(|(one, other)| ciede2000(lab(one), lab(other)) < LOOK_ALIKE)
        .map(|(one, other)| (one.name.as_str(), other.name.as_str()))
}
