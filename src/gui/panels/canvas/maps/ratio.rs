//! The legend of a ratio of lines, and which ratio it is.

use egui::{
    Align2, CollapsingHeader, Color32, ComboBox, DragValue, Label, Rect, RichText, Sense, Stroke,
    Ui, WidgetInfo, pos2, vec2,
};

use super::legend::{colored, percent, tinted};
use super::{lines, ratio_of, see};
use crate::engine::ratio::criteria::criterion;
use crate::engine::ratio::paint::{Ramp, Span};
use crate::engine::ratio::words::{INDICATIVE, share};
use crate::engine::recipe::{Ratio, Recipe, Scale};
use crate::gui::asks::Asks;
use crate::gui::names;
use crate::gui::state::{LineMap, State};
use crate::gui::theme::bold;
use crate::work::preview::maps::Found;

/// Points across the colours.
const BAR: f32 = 12.0;

/// Points by which its ends stick out.
const BEYOND: f32 = 8.0;

pub(super) fn show(
    ui: &mut Ui,
    state: &State,
    ratio: &Ratio,
    found: Option<&Found>,
    asks: &mut Asks,
) {
    let colors = state.theme.colors();
    let recipe = state.recipe();
    let mut wanted = ratio.clone();
    ui.horizontal_wrapped(|ui| {
        channel_choice(ui, recipe, "Line that is divided", &mut wanted.over);
        ui.label("/");
        channel_choice(ui, recipe, "Line that it is divided by", &mut wanted.under);
        let swap = ui.button("Swap").on_hover_text("Divide the other way");
        if swap.clicked() {
            std::mem::swap(&mut wanted.over, &mut wanted.under);
        }
        keep(ui, state, ratio, asks);
    });
    if (&wanted.over, &wanted.under) != (&ratio.over, &ratio.under) {
        let same = |kept: &&Ratio| (&kept.over, &kept.under) == (&wanted.over, &wanted.under);
        let kept = recipe.ratios.iter().find(same).cloned();
        wanted = kept.unwrap_or_else(|| Ratio {
            min_snr: ratio.min_snr,
            scale: ratio.scale,
            ..ratio_of(&wanted.over, &wanted.under)
        });
    }
    let span = match found {
        Some(Found::Ratio { span, .. }) => Some(*span),
        _ => None,
    };
    ui.horizontal_wrapped(|ui| {
        let label = ui.label("Both above");
        let drag = DragValue::new(&mut wanted.min_snr)
            .range(1.0..=100.0)
            .speed(0.1)
            .max_decimals(1)
            .suffix(" sigma");
        ui.add(drag).labelled_by(label.id).on_hover_text(
            "How far both lines must stand above their skies; grey is where they do not",
        );
        for (scale, word, about) in [
            (Scale::Linear, "linear", "Equal steps are equal differences"),
            (Scale::Log, "log", "Equal steps are equal factors"),
        ] {
            let row = ui.selectable_label(wanted.scale == scale, word);
            if row.on_hover_text(about).clicked() {
                wanted.scale = scale;
            }
        }
    });
    range(ui, &mut wanted, span);
    if wanted != *ratio {
        see(state, Some(LineMap::Ratio(wanted)), asks);
    }
    let Some(Found::Ratio {
        name,
        span,
        mark,
        counts,
        remarks,
    }) = found
    else {
        return;
    };
    bar(ui, state, name, span, *mark);
    let known = percent(share(counts.known, counts.data));
    let mut words = format!("Known in {known} of this view");
    if let Some(mark) = mark {
        let above = percent(share(counts.above, counts.known));
        let surely = percent(share(counts.surely_above, counts.known));
        words.push_str(&format!(
            ", {above} of that above {mark} ({surely} by more than its uncertainty)"
        ));
    }
    ui.add(Label::new(format!("{words}.")).wrap());
    let words = RichText::new(format!("Grey is where no ratio is known; {INDICATIVE}"))
        .small()
        .color(colors.faint);
    ui.add(Label::new(words).selectable(false)).on_hover_text(
        "Exposures, filters and the air scale the whole map; stars are no lines, and the \
         uncertainty is that of the sky's noise and level",
    );
    for remark in remarks {
        let words = format!("{remark}.");
        let words = RichText::new(words).small().color(colors.warning);
        ui.add(Label::new(words).wrap());
    }
    let of = |id: &str| recipe.channel(id).map_or("", |channel| &channel.line);
    let Some(published) = criterion(of(&ratio.over), of(&ratio.under)) else {
        return;
    };
    CollapsingHeader::new("What is published on it")
        .default_open(false)
        .show(ui, |ui| {
            let mut say = |words: String| {
                let words = RichText::new(words).small().color(colors.faint);
                ui.add(Label::new(words).wrap());
            };
            say(format!(
                "Higher ratios: {} ({}).",
                published.reading, published.source
            ));
            for caveat in published.caveats {
                say(format!("But: {caveat}."));
            }
        });
}

fn channel_choice(ui: &mut Ui, recipe: &Recipe, label: &str, id: &mut String) {
    let text = names::of_id(recipe, id);
    let combo = ComboBox::from_id_salt(label)
        .width(70.0)
        .selected_text(text)
        .show_ui(ui, |ui| {
            for channel in lines(recipe) {
                if ui
                    .selectable_label(channel.id == *id, names::of(recipe, channel))
                    .clicked()
                {
                    id.clone_from(&channel.id);
                }
            }
        });
    combo
        .response
        .widget_info(|| WidgetInfo::labeled(egui::Role::ComboBox, true, label));
}

// The ends of the scale: by the field, or given.
fn range(ui: &mut Ui, wanted: &mut Ratio, span: Option<Span>) {
    ui.horizontal_wrapped(|ui| {
        let mut by_field = wanted.range.is_none();
        let check = ui.checkbox(&mut by_field, "Scale by the field");
        if check
            .on_hover_text("The middle nine tenths of all ratios")
            .changed()
        {
            wanted.range = match (by_field, span) {
                (false, Some(span)) => Some([span.low, span.high]),
                (false, None) => Some([0.1, 1.0]),
                (true, _) => None,
            };
        }
        let Some([mut low, mut high]) = wanted.range else {
            return;
        };
        let least = if wanted.scale == Scale::Log {
            1e-3
        } else {
            0.0
        };
        let step = (high - low).abs().max(1e-3) * 0.01;
        let from = ui.label("from");
        let drag = DragValue::new(&mut low)
            .speed(step)
            .range(least..=high - 1e-3);
        let mut changed = ui.add(drag).labelled_by(from.id).changed();
        let to = ui.label("to");
        let drag = DragValue::new(&mut high)
            .speed(step)
            .range(low + 1e-3..=1e3);
        changed |= ui.add(drag).labelled_by(to.id).changed();
        if changed && low < high {
            wanted.range = Some([low, high]);
        }
    });
}

// The colours of the ratios, with numbers below and a mark where one is known.
fn bar(ui: &mut Ui, state: &State, name: &str, span: &Span, mark: Option<f64>) {
    let colors = state.theme.colors();
    let font = egui::TextStyle::Small.resolve(ui.style());
    let line = font.size + 4.0;
    let size = vec2(ui.available_width(), BAR + 6.0 + line);
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    let words = format!("{name} from {} to {}", span.low, span.high);
    response.widget_info(|| WidgetInfo::labeled(egui::Role::Image, true, &words));
    response.on_hover_text("Ratios beyond the scale take the colour of its nearer end");
    let inner = rect.shrink2(vec2(12.0, 0.0));
    let bar = Rect::from_min_size(inner.min, vec2(inner.width(), BAR));
    let painter = ui.painter();
    let ramp = Ramp::new();
    let steps = 64;
    colored(ui, state, bar, steps, |step| {
        ramp.color(step as f64 / (steps - 1) as f64)
    });
    // Points at the ends: what lies beyond has their colours.
    for (at, out, step) in [(bar.left(), -BEYOND, 0.0), (bar.right(), BEYOND, 1.0)] {
        let corners = [
            pos2(at, bar.top()),
            pos2(at + out, bar.center().y),
            pos2(at, bar.bottom()),
        ];
        let [r, g, b] = tinted(state.theme, ramp.color(step));
        let color = Color32::from_rgb(r, g, b);
        painter.add(egui::Shape::convex_polygon(
            corners.into(),
            color,
            Stroke::NONE,
        ));
    }
    let x = |value: f64| bar.left() + bar.width() * span.place(value) as f32;
    let mut free = f32::NEG_INFINITY;
    let on_scale = |value: &f64| (-1e-6..=1.000_001).contains(&span.place(*value));
    let mark = mark.filter(on_scale);
    let mut write = |value: f64, text: &str, bolder: bool| {
        let font = if bolder {
            egui::FontId::new(font.size, bold())
        } else {
            font.clone()
        };
        let color = if bolder { colors.text } else { colors.faint };
        let galley = painter.layout_no_wrap(text.to_owned(), font, color);
        let left = x(value) - galley.size().x / 2.0;
        if left < free {
            return;
        }
        free = left + galley.size().x + 6.0;
        let at = Align2::CENTER_TOP.anchor_size(pos2(x(value), bar.bottom() + 6.0), galley.size());
        let top = [
            pos2(x(value), bar.bottom()),
            pos2(x(value), bar.bottom() + 4.0),
        ];
        painter.line_segment(top, Stroke::new(1.0, color));
        painter.galley(at.min, galley, color);
    };
    // The mark's own number stands where it is.
    let near = |value: f64| mark.is_some_and(|mark| (x(mark) - x(value)).abs() < 30.0);
    let mut ticks: Vec<(f64, String, bool)> = span
        .ticks()
        .into_iter()
        .filter(|(value, _)| !near(*value))
        .map(|(value, text)| (value, text, false))
        .collect();
    ticks.extend(mark.map(|mark| (mark, format!("{mark}"), true)));
    ticks.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (value, text, bolder) in ticks {
        write(value, &text, bolder);
    }
    if let Some(mark) = mark {
        let line = [
            pos2(x(mark), bar.top() - 2.0),
            pos2(x(mark), bar.bottom() + 4.0),
        ];
        painter.line_segment(line, Stroke::new(3.0, Color32::BLACK));
        painter.line_segment(line, Stroke::new(1.0, Color32::WHITE));
    }
}

// A ratio is kept in the recipe: commands make its map again.
fn keep(ui: &mut Ui, state: &State, ratio: &Ratio, asks: &mut Asks) {
    let recipe = state.recipe();
    let same = |kept: &&Ratio| (&kept.over, &kept.under) == (&ratio.over, &ratio.under);
    let kept = recipe.ratios.iter().find(same);
    if kept == Some(ratio) {
        let forget = ui
            .button("Forget")
            .on_hover_text("Take it out of the recipe");
        if forget.clicked() {
            let mut recipe = recipe.clone();
            recipe.ratios.retain(|kept| kept != ratio);
            asks.edit(format!("Forget the ratio {}", ratio.id), recipe);
        }
        return;
    }
    let response = ui
        .button("Keep")
        .on_hover_text("Write it into the recipe, so that `linehue ratio` makes it again");
    if response.clicked() {
        let mut recipe = recipe.clone();
        let mut new = ratio.clone();
        if let Some(old) = recipe.ratios.iter_mut().find(|kept| same(&&**kept)) {
            new.id.clone_from(&old.id);
            *old = new.clone();
        } else {
            let taken = |id: &str| recipe.ratio(id).is_some();
            let plain = ratio_of(&ratio.over, &ratio.under).id;
            let mut number = 2;
            new.id.clone_from(&plain);
            while taken(&new.id) {
                new.id = format!("{plain}-{number}");
                number += 1;
            }
            recipe.ratios.push(new.clone());
        }
        let verb = if kept.is_some() { "Change" } else { "Keep" };
        asks.edit(format!("{verb} the ratio {}", new.id), recipe);
        see(state, Some(LineMap::Ratio(new)), asks);
    }
}
