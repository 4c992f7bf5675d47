//! Where the picture lies on the screen. Everything is in physical pixels.

use crate::engine::frame::Size;
use crate::gui::state::Place;
use crate::work::preview::Grid;

/// The smallest zoom.
pub const ZOOM_MIN: f64 = 1.0 / 64.0;
/// The largest zoom.
pub const ZOOM_MAX: f64 = 32.0;
/// Kept free around a picture that fits, physical pixels.
const MARGIN: f64 = 12.0;

/// A part of the screen, physical pixels from the window's upper left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pane {
    /// Its upper left corner.
    pub min: [f64; 2],
    /// Its width and height.
    pub size: [f64; 2],
}

impl Pane {
    /// Of a rectangle in points, on whole physical pixels.
    pub fn of(rect: egui::Rect, pixels_per_point: f32) -> Self {
        let physical = |v: f32| f64::from((v * pixels_per_point).round());
        let min = [physical(rect.min.x), physical(rect.min.y)];
        let max = [physical(rect.max.x), physical(rect.max.y)];
        Self {
            min,
            size: [(max[0] - min[0]).max(1.0), (max[1] - min[1]).max(1.0)],
        }
    }

    /// Its left and right half, a gap of two pixels between them.
    pub fn halves(self) -> [Self; 2] {
        let width = ((self.size[0] - 2.0) / 2.0).floor().max(1.0);
        let half = |x: f64| Self {
            min: [x, self.min[1]],
            size: [width, self.size[1]],
        };
        [half(self.min[0]), half(self.min[0] + width + 2.0)]
    }

    /// Its middle.
    pub fn middle(self) -> [f64; 2] {
        [0, 1].map(|i| self.min[i] + self.size[i] / 2.0)
    }

    /// Where the picture is seen: as chosen, or fitted.
    pub fn place(self, chosen: Option<Place>, size: Size) -> Place {
        chosen.map_or_else(|| self.fit(size), |place| clamp(place, size))
    }

    /// The whole picture, centred.
    pub fn fit(self, size: Size) -> Place {
        let extent = extent(size);
        let zoom = |i: usize| (self.size[i] - 2.0 * MARGIN).max(1.0) / extent[i].max(1.0);
        Place {
            middle: extent.map(|length| length / 2.0),
            zoom: zoom(0).min(zoom(1)).clamp(ZOOM_MIN, ZOOM_MAX),
        }
    }

    /// `place` with its zoom times `factor`; what lies under the point `at`
    /// of the screen stays there, unless the picture would be lost.
    pub fn zoomed(self, place: Place, at: [f64; 2], factor: f64, size: Size) -> Place {
        let zoom = (place.zoom * factor).clamp(ZOOM_MIN, ZOOM_MAX);
        let middle = self.middle();
        let axis = |i: usize| {
            let under = place.middle[i] + (at[i] - middle[i]) / place.zoom;
            under - (at[i] - middle[i]) / zoom
        };
        let middle = [axis(0), axis(1)];
        clamp(Place { middle, zoom }, size)
    }

    /// `place` after the picture was dragged by so many pixels.
    pub fn panned(self, place: Place, by: [f64; 2], size: Size) -> Place {
        let middle = [0, 1].map(|i| place.middle[i] - by[i] / place.zoom);
        clamp(Place { middle, ..place }, size)
    }

    /// How pixels of the picture lie on the screen, on whole screen pixels.
    pub fn mapping(self, place: Place) -> Mapping {
        let middle = self.middle();
        Mapping {
            origin: [0, 1].map(|i| (middle[i] - place.middle[i] * place.zoom).round()),
            zoom: place.zoom,
        }
    }

    /// The visible part of the picture; None where nothing of it is.
    pub fn grid(self, place: Place, size: Size) -> Option<Grid> {
        let Mapping { origin, zoom } = self.mapping(place);
        let extent = extent(size);
        let step = (1.0 / zoom).max(1.0);
        // Output pixels along an axis: the first that is visible, and how many.
        let axis = |i: usize| {
            let shown = step * zoom;
            let all = (extent[i] / step + 1e-9).floor().max(1.0);
            let first = ((self.min[i] - origin[i]) / shown).floor().max(0.0);
            let end = ((self.min[i] + self.size[i] - origin[i]) / shown).ceil();
            let count = end.min(all) - first;
            (count >= 1.0).then_some((first * step, count as usize))
        };
        let (x, width) = axis(0)?;
        let (y, height) = axis(1)?;
        Some(Grid {
            corner: [x, y],
            step,
            size: Size { width, height },
        })
    }
}

/// How pixels of the picture lie on the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mapping {
    /// Where the corner of the first pixel lies.
    pub origin: [f64; 2],
    /// Screen pixels for one pixel.
    pub zoom: f64,
}

impl Mapping {
    /// A point of the picture on the screen.
    pub fn screen(self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| self.origin[i] + at[i] * self.zoom)
    }

    /// The pixel under a point of the screen.
    pub fn pixel(self, at: [f64; 2], size: Size) -> Option<[usize; 2]> {
        let extent = extent(size);
        let axis = |i: usize| {
            let v = ((at[i] - self.origin[i]) / self.zoom).floor();
            (v >= 0.0 && v < extent[i]).then_some(v as usize)
        };
        Some([axis(0)?, axis(1)?])
    }

    /// Where a drawn picture lies, in points.
    pub fn rect(self, grid: &Grid, pixels_per_point: f32) -> egui::Rect {
        let min = self.screen(grid.corner);
        let span = grid.step * self.zoom;
        let max = [
            min[0] + grid.size.width as f64 * span,
            min[1] + grid.size.height as f64 * span,
        ];
        let point = |p: [f64; 2]| {
            egui::pos2(
                p[0] as f32 / pixels_per_point,
                p[1] as f32 / pixels_per_point,
            )
        };
        egui::Rect::from_min_max(point(min), point(max))
    }
}

/// Keeps a point of the picture in the middle, and the zoom in its limits.
pub fn clamp(place: Place, size: Size) -> Place {
    let extent = extent(size);
    Place {
        middle: [0, 1].map(|i| place.middle[i].clamp(0.0, extent[i])),
        zoom: place.zoom.clamp(ZOOM_MIN, ZOOM_MAX),
    }
}

fn extent(size: Size) -> [f64; 2] {
    [size.width as f64, size.height as f64]
}

/// How a zoom is written: "1 : 4", "100 %", "4 : 1".
pub fn scale(zoom: f64) -> String {
    let short = |v: f64| {
        let text = format!("{v:.1}");
        text.trim_end_matches(".0").to_owned()
    };
    if (zoom - 1.0).abs() < 1e-6 {
        "100 %".into()
    } else if zoom < 1.0 {
        format!("1 : {}", short(1.0 / zoom))
    } else {
        format!("{} : 1", short(zoom))
    }
}
