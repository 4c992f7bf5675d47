//! Wavelengths along the drawing: the visible part to scale, invisible ends
//! pressed together behind a break.

/// What is drawn to one scale, in nm; beyond it an end is folded in.
pub const MAIN_NM: [f64; 2] = [380.0, 750.0];

/// Length of a folded end.
const FOLD: f64 = 0.085;
/// Length of the break before it.
const BREAK: f64 = 0.012;

/// A part of the axis with one scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Wavelengths at its two ends, nm.
    pub nm: [f64; 2],
    /// Where they lie.
    pub x: [f64; 2],
    /// Whether it is pressed together: an invisible end.
    pub folded: bool,
}

impl Section {
    fn place(&self, nm: f64) -> f64 {
        let share = (nm - self.nm[0]) / (self.nm[1] - self.nm[0]);
        self.x[0] + share.clamp(0.0, 1.0) * (self.x[1] - self.x[0])
    }
}

/// Wavelengths along the drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// From left to right.
    pub sections: Vec<Section>,
}

impl Axis {
    /// An axis on which these wavelengths (nm) have a place. An end is folded
    /// in only where one of them lies there.
    pub fn for_lines(centers_nm: impl Iterator<Item = f64>) -> Self {
        let (mut least, mut most) = (MAIN_NM[0], MAIN_NM[1]);
        for nm in centers_nm.filter(|nm| nm.is_finite()) {
            least = least.min(nm);
            most = most.max(nm);
        }
        let mut x = [0.0, 1.0];
        let mut sections = Vec::new();
        if least < MAIN_NM[0] {
            let from = 20.0 * ((least - 10.0) / 20.0).floor();
            sections.push(Section {
                nm: [from, MAIN_NM[0]],
                x: [0.0, FOLD],
                folded: true,
            });
            x[0] = FOLD + BREAK;
        }
        let far = (most > MAIN_NM[1]).then(|| {
            x[1] = 1.0 - FOLD - BREAK;
            Section {
                nm: [MAIN_NM[1], 50.0 * ((most + 25.0) / 50.0).ceil()],
                x: [1.0 - FOLD, 1.0],
                folded: true,
            }
        });
        sections.push(Section {
            nm: MAIN_NM,
            x,
            folded: false,
        });
        sections.extend(far);
        Self { sections }
    }

    /// Where a wavelength lies; beyond the ends: at the end.
    pub fn place(&self, nm: f64) -> f64 {
        let section = self
            .sections
            .iter()
            .find(|section| !section.folded && (section.nm[0]..=section.nm[1]).contains(&nm))
            .or(self.sections.iter().find(|section| nm <= section.nm[1]))
            .or(self.sections.last());
        section.map_or(0.5, |section| section.place(nm))
    }

    /// Length of a nanometre in the visible part.
    pub fn scale(&self) -> f64 {
        self.sections
            .iter()
            .find(|section| !section.folded)
            .map_or(0.0, |section| {
                (section.x[1] - section.x[0]) / (section.nm[1] - section.nm[0])
            })
    }

    /// Wavelengths with a mark, and where: tens of nanometres in the visible
    /// part; `labelled` where the number is written.
    pub fn ticks(&self) -> Vec<Tick> {
        let mut ticks = Vec::new();
        for section in &self.sections {
            let span = section.nm[1] - section.nm[0];
            // Marks, and every how many nanometres one has its number.
            let (step, every) = match section.folded {
                false => (10.0, 50.0),
                true if span <= 20.0 => (10.0, 10.0),
                true if span <= 40.0 => (10.0, 20.0),
                true if span <= 120.0 => (20.0, 40.0),
                true => (100.0, 100.0),
            };
            let mut nm = step * (section.nm[0] / step).ceil();
            while nm <= section.nm[1] {
                let x = section.place(nm);
                // A number at a break would stand on the number beyond it.
                let inside = (x - section.x[0]).min(section.x[1] - x) > 0.012;
                let labelled = (nm / every).fract() == 0.0
                    && (inside || (!section.folded && self.sections.len() == 1));
                if !section.folded || inside {
                    ticks.push(Tick { nm, x, labelled });
                }
                nm += step;
            }
        }
        ticks
    }

    /// The middles of the breaks.
    pub fn breaks(&self) -> Vec<f64> {
        self.sections
            .windows(2)
            .map(|pair| 0.5 * (pair[0].x[1] + pair[1].x[0]))
            .collect()
    }
}

/// A mark on the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tick {
    /// Wavelength in nm.
    pub nm: f64,
    /// Where it lies.
    pub x: f64,
    /// Whether its number is written.
    pub labelled: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn visible_lines_need_no_fold() {
        let axis = Axis::for_lines([656.28, 500.7].into_iter());
        assert_eq!(axis.sections.len(), 1);
        assert!(axis.breaks().is_empty());
        assert!((axis.place(565.0) - 0.5).abs() < 1e-12);
        assert_eq!((axis.place(380.0), axis.place(750.0)), (0.0, 1.0));
    }

    #[test]
    fn invisible_ends_are_folded_in() {
        let axis = Axis::for_lines([372.7, 656.28, 953.061].into_iter());
        assert_eq!(axis.sections.len(), 3);
        assert_eq!(axis.breaks().len(), 2);
        let places: Vec<f64> = [342.0, 372.7, 380.0, 410.0, 656.3, 750.0, 906.9, 953.1]
            .map(|nm| axis.place(nm))
            .to_vec();
        assert!(places.is_sorted(), "{places:?}");
        // The visible part keeps most of the drawing.
        let visible = axis.place(750.0) - axis.place(381.0);
        assert!(visible > 0.78, "{visible}");
        for tick in axis.ticks() {
            assert!((axis.place(tick.nm) - tick.x).abs() < 1e-12);
        }
        let labelled: Vec<_> = axis.ticks().into_iter().filter(|t| t.labelled).collect();
        assert!(labelled.iter().any(|tick| tick.nm < 380.0));
        assert!(labelled.iter().any(|tick| tick.nm > 750.0));
        for pair in labelled.windows(2) {
            assert!(pair[1].x - pair[0].x > 0.02, "{pair:?}");
        }
    }
}
