//! Names that are too long lose their middle: beginning and end tell most.

use egui::{FontId, Ui};

/// `text`, or as much of its two ends as fits into `width` points.
pub fn middle(ui: &Ui, text: &str, font: &FontId, width: f32) -> String {
    fitted(text, |text| {
        let color = egui::Color32::PLACEHOLDER;
        let galley = ui
            .painter()
            .layout_no_wrap(text.to_owned(), font.clone(), color);
        galley.size().x <= width
    })
}

fn fitted(text: &str, fits: impl Fn(&str) -> bool) -> String {
    if fits(text) {
        return text.to_owned();
    }
    let chars: Vec<char> = text.chars().collect();
    let shortened = |kept: usize| -> String {
        // The end, with the suffix, is worth a little more.
        let head = kept * 2 / 5;
        chars[..head]
            .iter()
            .chain(&['…'])
            .chain(&chars[chars.len() - (kept - head)..])
            .collect()
    };
    let (mut low, mut high) = (0, chars.len().saturating_sub(1));
    while low < high {
        let kept = (low + high).div_ceil(2);
        if fits(&shortened(kept)) {
            low = kept;
        } else {
            high = kept - 1;
        }
    }
    shortened(low)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_goes_and_both_ends_stay() {
        let at_most = |most: usize| move |text: &str| text.chars().count() <= most;
        assert_eq!(fitted("short", at_most(9)), "short");
        assert_eq!(fitted("lantern-hα-long.fits", at_most(11)), "lant…g.fits");
        assert_eq!(fitted("abc", at_most(0)), "…");
        assert_eq!(fitted("", at_most(3)), "");
    }
}
