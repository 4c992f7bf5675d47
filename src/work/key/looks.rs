//! Colours of what is drawn around data.

use crate::engine::color::transfer::srgb_encode_exact;
use crate::engine::key::shade::shown;
use crate::io::draw::{Anchor, Ink, Shape, Words};

/// Dark or light looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looks {
    /// Beneath everything.
    pub ground: [u8; 3],
    /// Where no light is.
    pub dark: [u8; 3],
    /// Words.
    pub text: Ink,
    /// Lesser words.
    pub faint: Ink,
    /// Thin lines.
    pub line: Ink,
    /// The edge of pale colours on a pale ground; None on a dark one.
    pub edge: Option<Ink>,
}

/// For a dark page or screen.
pub const DARK: Looks = Looks {
    ground: [22; 3],
    dark: [8; 3],
    text: Ink::grey(232),
    faint: Ink::grey(166),
    line: Ink::grey(96),
    edge: None,
};

/// For paper.
pub const LIGHT: Looks = Looks {
    ground: [252; 3],
    dark: [14; 3],
    text: Ink::grey(20),
    faint: Ink::grey(92),
    line: Ink::grey(150),
    edge: Some(Ink::grey(20).with_cover(0.5)),
};

impl Looks {
    /// Light looks or dark ones.
    pub fn of(light: bool) -> Self {
        if light { LIGHT } else { DARK }
    }

    /// A line of text that stands on `at`.
    pub fn words(&self, text: &str, at: [f64; 2], size: f64) -> Words {
        Words {
            at,
            anchor: Anchor::Start,
            size,
            bold: false,
            ink: self.text,
            text: text.to_owned(),
        }
    }

    /// A dot in the colour of a line.
    pub fn dot(&self, center: [f64; 2], radius: f64, linear_srgb: [f64; 3]) -> [Shape; 2] {
        [
            Shape::Disc {
                center,
                radius: 1.2 * radius,
                ink: self.edge.unwrap_or(self.line),
            },
            Shape::Disc {
                center,
                radius,
                ink: Ink::full(codes(linear_srgb)),
            },
        ]
    }
}

/// sRGB codes of a colour in linear sRGB, as a screen can show it.
pub fn codes(linear_srgb: [f64; 3]) -> [u8; 3] {
    shown(linear_srgb).map(|light| (255.0 * srgb_encode_exact(light.clamp(0.0, 1.0))).round() as u8)
}
