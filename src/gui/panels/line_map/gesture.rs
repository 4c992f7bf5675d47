//! Pulling an end: sideways is hue, up and down strength or saturation.

use std::collections::BTreeMap;

use egui::{Modifiers, Pos2, Vec2};

use crate::engine::key::snap::{Snap, nearest};
use crate::engine::key::strip::{SCALE_END, WHITE_FROM, place_hue};
use crate::engine::key::{End, Shade};
use crate::engine::recipe::ColorValue;

/// How near a hue must be to draw the end to it, points.
const REACH: f32 = 5.0;
/// How far an end is pulled up for one more of strength, points.
const UPRIGHT: f64 = 110.0;
/// Factor on the way of the pointer while Shift is held.
const FINE: f64 = 0.1;

/// What a pull changes; decided when it starts, so that a hand that trembles
/// does not change the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aspect {
    Hue,
    Saturation,
    Strength,
}

impl Aspect {
    /// As the history names it: "Hue of ...".
    pub fn word(self) -> &'static str {
        match self {
            Self::Hue => "Hue",
            Self::Saturation => "Saturation",
            Self::Strength => "Strength",
        }
    }
}

/// A pull that goes on.
#[derive(Debug, Clone)]
pub struct Pull {
    /// The channel.
    pub channel: String,
    /// What it changes.
    pub aspect: Aspect,
    /// What the recipe said before.
    pub before: ColorValue,
    /// What it snapped to.
    pub snapped: Option<Snap>,
    /// The colour now.
    pub shade: Shade,
    /// The lanes of all ends: none jumps aside meanwhile.
    pub lanes: BTreeMap<String, usize>,
    /// Taken back with Escape: the pointer is still down, but does nothing.
    pub ended: bool,
    // The way so far, before snapping and bounds.
    place: f64,
    saturation: f64,
    strength: f64,
    last: Pos2,
}

impl Pull {
    /// Begins where the end and the pointer are: nothing jumps. `way` is how the
    /// pointer went since it was pressed.
    pub fn begin(
        channel: &str,
        end: &End,
        before: ColorValue,
        pointer: Pos2,
        way: Vec2,
        modifiers: Modifiers,
    ) -> Self {
        let aspect = if way.x.abs() >= way.y.abs() {
            Aspect::Hue
        } else if modifiers.command || modifiers.ctrl {
            Aspect::Saturation
        } else {
            Aspect::Strength
        };
        Self {
            channel: channel.to_owned(),
            aspect,
            before,
            snapped: None,
            shade: end.shade,
            lanes: BTreeMap::new(),
            ended: false,
            place: end.x,
            saturation: end.shade.saturation,
            strength: end.shade.strength,
            last: pointer,
        }
    }

    /// The pointer moved; `length` is that of the drawing in points. Whether the
    /// colour is another now.
    pub fn go(&mut self, pointer: Pos2, length: f32, modifiers: Modifiers, snaps: &[Snap]) -> bool {
        let factor = if modifiers.shift { FINE } else { 1.0 };
        let way = pointer - self.last;
        if way == Vec2::ZERO {
            return false;
        }
        self.last = pointer;
        let before = self.shade;
        match self.aspect {
            Aspect::Hue => {
                self.place += f64::from(way.x / length) * factor;
                self.turn(length, !modifiers.alt && !modifiers.shift, snaps);
            }
            Aspect::Saturation => {
                self.saturation -= f64::from(way.y) / UPRIGHT * factor;
                // More than the pure colour can be written, not pulled.
                let most = before.saturation.max(1.0);
                self.shade.saturation = self.saturation.clamp(0.0, most);
            }
            Aspect::Strength => {
                self.strength -= f64::from(way.y) / UPRIGHT * factor;
                self.shade.strength = self.strength.max(0.0);
            }
        }
        self.shade != before
    }

    fn turn(&mut self, length: f32, draws: bool, snaps: &[Snap]) {
        self.snapped = None;
        if self.place >= WHITE_FROM {
            self.shade.saturation = 0.0;
            return;
        }
        self.shade.saturation = if self.saturation < crate::engine::key::shade::WHITE_BELOW {
            1.0
        } else {
            self.saturation
        };
        self.shade.hue = place_hue(self.place);
        let reach = 360.0 * f64::from(REACH / length) / SCALE_END;
        if draws {
            self.snapped = nearest(snaps, self.shade.hue, reach.min(3.0));
        }
        if let Some(snap) = self.snapped {
            self.shade.hue = snap.hue;
        }
    }
}
