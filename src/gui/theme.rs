//! Looks: our font, neutral greys so that colours can be judged, one warm
//! accent; light, dark, and red for use beside the telescope at night.

use std::sync::Arc;

use egui::{Color32, Context, FontData, FontDefinitions, FontFamily, FontId, Visuals};

/// Which looks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Theme {
    /// Neutral dark greys.
    #[default]
    Dark,
    /// Neutral light greys.
    Light,
    /// Red on black; the picture itself turns red as well.
    Night,
}

/// The colours of a theme. Panels take every colour that is not data from here.
#[derive(Debug, Clone, Copy)]
pub struct Colors {
    /// Behind the picture: neutral, dark in every theme.
    pub canvas: Color32,
    /// Behind panels.
    pub panel: Color32,
    /// Behind a card on a panel.
    pub card: Color32,
    /// Sunk into a card: histograms, fields.
    pub well: Color32,
    /// Hairlines.
    pub line: Color32,
    /// Words.
    pub text: Color32,
    /// Words of second rank; still 4.5 : 1 on `card`.
    pub faint: Color32,
    /// The one warm accent: the main action, what is selected.
    pub accent: Color32,
    /// Words on the accent.
    pub on_accent: Color32,
    /// Something needs a look.
    pub warning: Color32,
    /// Something failed.
    pub error: Color32,
}

impl Theme {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Dark, Self::Light, Self::Night];

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Dark => "Dark",
            Self::Light => "Light",
            Self::Night => "Night (red)",
        }
    }

    /// Its colours.
    pub fn colors(self) -> Colors {
        let grey = Color32::from_gray;
        let red = |r: u8, rest: u8| Color32::from_rgb(r, rest, rest);
        match self {
            Self::Dark => Colors {
                canvas: grey(14),
                panel: grey(30),
                card: grey(38),
                well: grey(22),
                line: grey(58),
                text: grey(226),
                faint: grey(164),
                accent: Color32::from_rgb(222, 188, 124),
                on_accent: grey(24),
                warning: Color32::from_rgb(230, 170, 80),
                error: Color32::from_rgb(240, 128, 112),
            },
            Self::Light => Colors {
                canvas: grey(60),
                panel: grey(226),
                card: grey(240),
                well: grey(252),
                line: grey(190),
                text: grey(24),
                faint: grey(88),
                accent: Color32::from_rgb(138, 92, 22),
                on_accent: grey(255),
                warning: Color32::from_rgb(140, 84, 0),
                error: Color32::from_rgb(170, 36, 24),
            },
            Self::Night => Colors {
                canvas: grey(0),
                panel: red(16, 0),
                card: red(26, 0),
                well: red(8, 0),
                line: red(64, 0),
                text: red(214, 24),
                faint: red(168, 12),
                accent: red(196, 20),
                on_accent: red(12, 0),
                warning: red(255, 70),
                error: red(255, 110),
            },
        }
    }

    /// Gives the context these looks.
    pub fn apply(self, context: &Context) {
        let colors = self.colors();
        let mut visuals = if self == Self::Light {
            Visuals::light()
        } else {
            Visuals::dark()
        };
        visuals.panel_fill = colors.panel;
        visuals.window_fill = colors.panel;
        visuals.extreme_bg_color = colors.well;
        visuals.faint_bg_color = colors.card;
        visuals.override_text_color = None;
        visuals.hyperlink_color = colors.accent;
        visuals.warn_fg_color = colors.warning;
        visuals.error_fg_color = colors.error;
        visuals.selection.bg_fill = colors.accent.gamma_multiply(0.45);
        visuals.selection.stroke = egui::Stroke::new(1.0, colors.text);
        visuals.window_stroke = egui::Stroke::new(1.0, colors.line);
        let widgets = &mut visuals.widgets;
        widgets.noninteractive.bg_fill = colors.panel;
        widgets.noninteractive.weak_bg_fill = colors.panel;
        widgets.noninteractive.bg_stroke = egui::Stroke::new(1.0, colors.line);
        widgets.noninteractive.fg_stroke = egui::Stroke::new(1.0, colors.text);
        let lift = |color: Color32, by: u8| {
            if self == Self::Light {
                Color32::from_rgb(
                    color.r().saturating_sub(by),
                    color.g().saturating_sub(by),
                    color.b().saturating_sub(by),
                )
            } else if self == Self::Night {
                Color32::from_rgb(color.r().saturating_add(by * 2), color.g(), color.b())
            } else {
                Color32::from_rgb(
                    color.r().saturating_add(by),
                    color.g().saturating_add(by),
                    color.b().saturating_add(by),
                )
            }
        };
        for (widget, by) in [
            (&mut widgets.inactive, 14),
            (&mut widgets.hovered, 26),
            (&mut widgets.active, 38),
            (&mut widgets.open, 20),
        ] {
            // On light panels a button is told by a darker ground and an outline.
            let by = if self == Self::Light { by + 16 } else { by };
            widget.bg_fill = lift(colors.card, by);
            widget.weak_bg_fill = lift(colors.card, by);
            widget.fg_stroke = egui::Stroke::new(1.0, colors.text);
        }
        widgets.hovered.bg_stroke = egui::Stroke::new(1.0, colors.faint);
        widgets.active.bg_stroke = egui::Stroke::new(1.0, colors.accent);
        let base = if self == Self::Light {
            egui::Theme::Light
        } else {
            egui::Theme::Dark
        };
        context.set_theme(base);
        context.set_visuals_of(base, visuals);
        context.all_styles_mut(|style| {
            style.spacing.item_spacing = egui::vec2(8.0, 6.0);
            style.spacing.button_padding = egui::vec2(9.0, 4.0);
            style.spacing.interact_size.y = 24.0;
            style.text_styles = [
                (egui::TextStyle::Heading, FontId::new(15.0, bold())),
                (egui::TextStyle::Body, FontId::proportional(13.5)),
                (egui::TextStyle::Button, FontId::proportional(13.5)),
                (egui::TextStyle::Small, FontId::proportional(12.0)),
                (egui::TextStyle::Monospace, FontId::proportional(13.0)),
            ]
            .into();
        });
    }
}

/// The family of bold words.
pub fn bold() -> FontFamily {
    FontFamily::Name("bold".into())
}

/// Our own fonts; the system's are not asked for.
pub fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::empty();
    for (name, bytes) in [
        (
            "regular",
            &include_bytes!("../../assets/fonts/noto-sans-regular.ttf")[..],
        ),
        (
            "bold",
            &include_bytes!("../../assets/fonts/noto-sans-bold.ttf")[..],
        ),
        (
            "signs",
            &include_bytes!("../../assets/fonts/noto-sans-math-signs.ttf")[..],
        ),
    ] {
        fonts
            .font_data
            .insert(name.to_owned(), Arc::new(FontData::from_static(bytes)));
    }
    let family = |first: &str| vec![first.to_owned(), "signs".to_owned()];
    fonts
        .families
        .insert(FontFamily::Proportional, family("regular"));
    fonts
        .families
        .insert(FontFamily::Monospace, family("regular"));
    fonts.families.insert(bold(), family("bold"));
    fonts
}

/// What a window and a test harness do before the first frame.
pub fn set_up(context: &Context, theme: Theme) {
    context.set_fonts(fonts());
    theme.apply(context);
}
