//! Work that an earlier window left behind, after a crash or a power cut.

use egui::{RichText, Ui};

use super::{Next, buttons, heading};
use crate::gui::app::App;
use crate::work::keep::Offer;

pub(super) fn show(app: &mut App, ui: &mut Ui, offers: &mut Vec<Offer>) -> Next {
    heading(ui, "Unsaved work from an earlier window");
    ui.label("It ended without saving these. Take one up again, or let it go.");
    ui.add_space(4.0);
    let faint = app.state.theme.colors().faint;
    let (mut taken, mut gone) = (None, None);
    egui::ScrollArea::vertical()
        .max_height(300.0)
        .show(ui, |ui| {
            for (index, offer) in offers.iter().enumerate() {
                ui.horizontal(|ui| {
                    if ui.button("Take it up").clicked() {
                        taken = Some(index);
                    }
                    if ui.button("Let it go").clicked() {
                        gone = Some(index);
                    }
                    let file = offer.path.as_deref().unwrap_or(&offer.folder);
                    let count = offer.recipe.channels.len();
                    // To the minute: "2026-03-01 20:15".
                    let when = offer.when.get(..16).unwrap_or(&offer.when);
                    let when = when.replace('T', " ");
                    let text = format!("{when}   {}, {count} channels", title(offer));
                    ui.add(egui::Label::new(text).truncate())
                        .on_hover_text(file.display().to_string());
                });
            }
        });
    ui.label(
        RichText::new("Closing this leaves them for the next time.")
            .small()
            .color(faint),
    );
    if let Some(index) = gone {
        offers.remove(index).discard();
    } else if let Some(index) = taken {
        app.opening = None;
        app.recover(offers.remove(index));
        return Next::Close;
    }
    let mut next = if offers.is_empty() {
        Next::Close
    } else {
        Next::Stay
    };
    buttons(ui, |ui| {
        if ui.button("Later").clicked() {
            next = Next::Close;
        }
    });
    next
}

fn title(offer: &Offer) -> String {
    let about = &offer.recipe.about;
    [&about.title, &about.object]
        .into_iter()
        .find(|words| !words.is_empty())
        .cloned()
        .or_else(|| {
            let name = offer.path.as_deref()?.file_name()?;
            Some(name.to_string_lossy().into_owned())
        })
        .unwrap_or_else(|| "Untitled".to_owned())
}
