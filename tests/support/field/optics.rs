//! What the telescope makes of a point: core, aureole and spikes.

/// The share of a star's light in the wide aureole.
const AUREOLE_SHARE: f64 = 0.018;

/// The share of a star's light in the four spikes of the secondary's vanes.
const SPIKE_SHARE: f64 = 0.010;

/// Width of a Moffat core from its full width at half maximum:
/// `alpha = fwhm / (2 sqrt(2^(1/beta) - 1))` (Moffat, A&A 3, 1969), beta = 3.
pub fn moffat_alpha(fwhm_px: f64) -> f64 {
    fwhm_px / (2.0 * libm::sqrt(libm::cbrt(2.0) - 1.0))
}

/// The image of a point source of total light 1, sampled at pixel centres (the
/// pixel's own width counts as part of the seeing).
#[derive(Clone, Copy, Debug)]
pub struct Psf {
    core: f32,
    per_core2: f32,
    halo: f32,
    per_halo2: f32,
    spike: f32,
    per_spike_length: f32,
    axis: [f32; 2],
}

impl Psf {
    /// A point's image with a core of this width. `axis` is the direction of the
    /// first pair of spikes, in pixels of the frame, of any length but zero.
    pub fn new(fwhm_px: f64, axis: [f64; 2]) -> Self {
        let alpha = moffat_alpha(fwhm_px);
        let wide = 3.2 * fwhm_px;
        let length = 9.0 * fwhm_px;
        let norm = libm::sqrt(axis[0] * axis[0] + axis[1] * axis[1]);
        let pi = core::f64::consts::PI;
        Self {
            core: ((1.0 - AUREOLE_SHARE - SPIKE_SHARE) * 2.0 / (pi * alpha * alpha)) as f32,
            per_core2: (1.0 / (alpha * alpha)) as f32,
            // A Moffat of beta 1.5: light falls as the cube of distance.
            halo: (AUREOLE_SHARE * 0.5 / (pi * wide * wide)) as f32,
            per_halo2: (1.0 / (wide * wide)) as f32,
            // Four arms, exponential along, a bell of sigma 0.75 px across.
            spike: (SPIKE_SHARE / (4.0 * length * 0.75 * libm::sqrt(2.0 * pi))) as f32,
            per_spike_length: (1.0 / length) as f32,
            axis: [(axis[0] / norm) as f32, (axis[1] / norm) as f32],
        }
    }

    /// Light per pixel of core and aureole at this distance from the star.
    pub fn round(&self, distance2: f32) -> f32 {
        let core = 1.0 + distance2 * self.per_core2;
        let halo = 1.0 + distance2 * self.per_halo2;
        self.core / (core * core * core) + self.halo / (halo * libm::sqrtf(halo))
    }

    /// Light per pixel of the spikes at an offset from the star.
    pub fn spikes(&self, dx: f32, dy: f32) -> f32 {
        let along = dx * self.axis[0] + dy * self.axis[1];
        let across = dy * self.axis[0] - dx * self.axis[1];
        let arm = |along: f32, across: f32| {
            let t = across * across * (0.5 / (0.75 * 0.75));
            if t > 12.0 {
                return 0.0;
            }
            libm::expf(-along.abs() * self.per_spike_length - t)
        };
        self.spike * (arm(along, across) + arm(across, along))
    }

    /// How far from a star of this light its image still reaches `floor`, px.
    pub fn reach_px(&self, light: f32, floor: f32) -> f32 {
        let core = light * self.core / floor;
        let halo = light * self.halo / floor;
        let from_core = (libm::cbrtf(core.max(1.0)) - 1.0).max(0.0) / self.per_core2;
        let third = libm::cbrtf(halo.max(1.0));
        let from_halo = (third * third - 1.0).max(0.0) / self.per_halo2;
        libm::sqrtf(from_core.max(from_halo)).clamp(2.0, 900.0)
    }
}

/// The weights of a bell of this full width at half maximum, from the middle
/// outwards, adding up to 1 over both sides.
pub fn blur_weights(fwhm_px: f64) -> Vec<f32> {
    let sigma = fwhm_px / (2.0 * libm::sqrt(2.0 * libm::log(2.0)));
    let radius = libm::ceil(2.6 * sigma) as usize;
    let raw: Vec<f64> = (0..=radius)
        .map(|i| {
            let t = i as f64 / sigma;
            libm::exp(-0.5 * t * t)
        })
        .collect();
    let total = raw[0] + 2.0 * raw[1..].iter().sum::<f64>();
    raw.iter().map(|w| (w / total) as f32).collect()
}
