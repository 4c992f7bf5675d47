//! The filters of the imaginary wheel and what passes them.

/// One filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Filter {
    Ha,
    Oiii,
    Sii,
    L,
    R,
    G,
    B,
}

/// All of them, in the order in which sets are made.
pub const ALL: [Filter; 7] = [
    Filter::Ha,
    Filter::Oiii,
    Filter::Sii,
    Filter::L,
    Filter::R,
    Filter::G,
    Filter::B,
];

/// hc/k in nm K (CODATA 2018).
const SECOND_RADIATION_NM_K: f64 = 1.438_776_877e7;

impl Filter {
    /// The id used in file names.
    pub fn id(self) -> &'static str {
        match self {
            Filter::Ha => "ha",
            Filter::Oiii => "oiii",
            Filter::Sii => "sii",
            Filter::L => "l",
            Filter::R => "r",
            Filter::G => "g",
            Filter::B => "b",
        }
    }

    /// The filter with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        ALL.into_iter().find(|filter| filter.id() == id)
    }

    /// First and last wavelength passed, nm (a flat-topped passband).
    pub fn passband_nm(self) -> (f64, f64) {
        match self {
            Filter::Ha => (653.78, 658.78),
            Filter::Oiii => (499.2, 502.2),
            Filter::Sii => (669.9, 674.9),
            Filter::L => (400.0, 700.0),
            Filter::R => (590.0, 690.0),
            Filter::G => (495.0, 580.0),
            Filter::B => (400.0, 505.0),
        }
    }

    /// Middle of the passband, nm.
    pub fn center_nm(self) -> f64 {
        let (first, last) = self.passband_nm();
        0.5 * (first + last)
    }

    /// Whether it passes a single line only.
    pub fn is_narrow(self) -> bool {
        matches!(self, Filter::Ha | Filter::Oiii | Filter::Sii)
    }

    /// Photons of a black body through the passband, relative to its photons in
    /// one nanometre at 550 nm (so the unit is nm). Midpoint rule, 16 steps.
    pub fn blackbody_nm(self, kelvin: f64) -> f64 {
        let (first, last) = self.passband_nm();
        let width = (last - first) / 16.0;
        let mut sum = 0.0;
        for index in 0..16 {
            sum += photons(first + (f64::from(index) + 0.5) * width, kelvin) * width;
        }
        sum / photons(550.0, kelvin)
    }

    /// Transmission of a dust column that takes `depth` e-foldings at 550 nm:
    /// extinction falls as wavelength^-1.3, a fair fit to the visible Galactic law.
    pub fn through_dust(self, depth: f32) -> f32 {
        let law = libm::pow(self.center_nm() / 550.0, -1.3) as f32;
        libm::expf(-depth * law)
    }
}

/// Photons per nanometre from a black body, in arbitrary units (Planck's law
/// divided by the photon energy).
fn photons(nm: f64, kelvin: f64) -> f64 {
    let exponent = SECOND_RADIATION_NM_K / (nm * kelvin);
    let scaled = nm / 550.0;
    1.0 / (scaled * scaled * scaled * scaled * libm::expm1(exponent))
}
