//! What taking the noise away does to the invented sky, whose truth is known.

#[path = "support/field/mod.rs"]
mod field;

use std::num::NonZeroUsize;
use std::ops::ControlFlow;
use std::sync::Arc;

use field::filters::Filter;
use field::{ALL_PARTS, Backdrop, GAS_ALONE, Parts, Scene, Spec, render_over};
use linehue::engine::align::resample::Aligned;
use linehue::engine::align::stars::{FindLimits, Stars, find};
use linehue::engine::align::transform::Transform;
use linehue::engine::denoise::{NoiseModel, smoothed};
use linehue::engine::frame::{Plane, Rows, Size};

const SIZE: Size = Size {
    width: 864,
    height: 576,
};

struct Sky {
    noisy: Vec<f32>,
    truth: Vec<f32>,
    gas: Vec<f32>,
    smooth: Vec<f32>,
    sigma: f64,
    sky: f64,
}

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn plane(values: &[f32]) -> Plane {
    Plane::from_vec(SIZE, values.to_vec()).expect("the size is right")
}

// `frames` few: the faint gas is at the noise.
fn sky(filter: Filter, frames: u32) -> Sky {
    sky_laid(filter, frames, &|values| values)
}

// The same, each picture laid on another grid by `lay` before anything is done.
fn sky_laid(filter: Filter, frames: u32, lay: &dyn Fn(Vec<f32>) -> Vec<f32>) -> Sky {
    let scene = Scene::new(SIZE.width, SIZE.height, 20);
    let spec = Spec {
        frames,
        ..Spec::new(SIZE.width, SIZE.height, filter)
    };
    let quiet = Parts {
        noise: false,
        ..ALL_PARTS
    };
    let backdrop = Backdrop::new(&scene, spec.grid, 0..SIZE.height);
    let made = |spec: &Spec| lay(render_over(&scene, &backdrop, spec, 0..SIZE.height));
    let noisy = made(&spec);
    let model = NoiseModel::measure(&plane(&noisy));
    let smooth = smoothed(&plane(&noisy), &model, &go_on).expect("nothing stops it");
    let sigma = spec.variance(spec.sky).sqrt();
    println!(
        "{filter:?}: sigma {sigma:.3}, measured {:.3}; growth {:.5}, true {:.5}; {model:?}",
        model.sigma(),
        model.growth,
        (spec.variance(spec.sky + 1.0) - spec.variance(spec.sky)) / (sigma * sigma),
    );
    Sky {
        noisy,
        truth: made(&spec.with_parts(quiet)),
        gas: made(&spec.with_parts(GAS_ALONE)),
        smooth: smooth.values().iter().copied().collect(),
        sigma,
        sky: spec.sky,
    }
}

impl Sky {
    // How much smaller the mean squared error gets where the gas is about so
    // many sigma above the sky and no star is near; and the mean error, sigma.
    fn gain(&self, snr: f64) -> (f64, f64, usize) {
        let (mut before, mut after, mut bias, mut count) = (0.0, 0.0, 0.0, 0usize);
        for at in 0..self.truth.len() {
            let gas = (f64::from(self.gas[at]) - self.sky) / self.sigma;
            let star = f64::from(self.truth[at] - self.gas[at]) / self.sigma;
            if (0.8 * snr..1.25 * snr).contains(&gas) && star < 0.2 {
                let error = |v: f32| f64::from(v - self.truth[at]);
                before += error(self.noisy[at]) * error(self.noisy[at]);
                after += error(self.smooth[at]) * error(self.smooth[at]);
                bias += error(self.smooth[at]) / self.sigma;
                count += 1;
            }
        }
        (before / after, bias / count as f64, count)
    }
}

fn stars(values: &[f32]) -> Stars {
    find(&plane(values), None, &FindLimits::default(), &go_on).expect("a field")
}

#[test]
fn the_error_of_faint_gas_falls_fourfold() {
    for (filter, frames) in [(Filter::Ha, 4), (Filter::Oiii, 8), (Filter::Sii, 4)] {
        let sky = sky(filter, frames);
        for snr in [1.0, 3.0, 10.0] {
            let (gain, bias, count) = sky.gain(snr);
            println!("  S/N {snr}: error {gain:.2} times smaller, bias {bias:.3}, {count} px");
            assert!(count > 1000, "{filter:?} {snr}: {count}");
            assert!(gain > 4.0, "{filter:?} {snr}: {gain}");
            assert!(bias.abs() < 0.12, "{filter:?} {snr}: {bias}");
        }
    }
}

/// A turned stack has noise that neighbours share, and less of it: its scales
/// are measured, so that it goes as well.
#[test]
fn noise_that_neighbours_share_goes_too() {
    let lay = |values: Vec<f32>| {
        let turn = 3.0_f64.to_radians();
        let (sin, cos) = (libm::sin(turn), libm::cos(turn));
        let [x, y] = [SIZE.width, SIZE.height].map(|side| side as f64 / 2.0);
        let matrix = [
            [cos, -sin, x - cos * x + sin * y + 0.37],
            [sin, cos, y - sin * x - cos * y - 0.61],
            [0.0, 0.0, 1.0],
        ];
        let transform = Transform::from_matrix(matrix).expect("it turns back");
        let rows: Arc<dyn Rows> = Arc::new(plane(&values));
        let memory = NonZeroUsize::new(64 << 20).expect("more than none");
        let aligned = Aligned::new(rows, &transform, SIZE, Some(5.0), memory);
        let mut laid = vec![0.0; SIZE.pixels()];
        aligned.read(0, &mut laid).expect("reads");
        laid
    };
    for (filter, frames) in [(Filter::Ha, 4), (Filter::Oiii, 8)] {
        let sky = sky_laid(filter, frames, &lay);
        for snr in [1.0, 3.0, 10.0] {
            let (gain, bias, count) = sky.gain(snr);
            println!("  S/N {snr}: error {gain:.2} times smaller, bias {bias:.3}, {count} px");
            assert!(count > 1000, "{filter:?} {snr}: {count}");
            assert!(gain > 4.0, "{filter:?} {snr}: {gain}");
            assert!(bias.abs() < 0.15, "{filter:?} {snr}: {bias}");
        }
    }
}

#[test]
fn stars_keep_their_width_and_their_light() {
    for (filter, frames) in [(Filter::Ha, 4), (Filter::Oiii, 96), (Filter::L, 20)] {
        let sky = sky(filter, frames);
        let (before, after) = (stars(&sky.noisy), stars(&sky.smooth));
        let mut widths = Vec::new();
        let mut lights = Vec::new();
        for star in before.stars.iter().filter(|s| s.snr > 30.0 && !s.saturated) {
            let near = after
                .stars
                .iter()
                .find(|other| (other.x - star.x).hypot(other.y - star.y) < 0.5);
            if let Some(other) = near {
                widths.push(other.fwhm_px / star.fwhm_px - 1.0);
                lights.push(other.flux / star.flux - 1.0);
            }
        }
        widths.sort_by(f64::total_cmp);
        lights.sort_by(f64::total_cmp);
        let (width, light) = (widths[widths.len() / 2], lights[lights.len() / 2]);
        println!(
            "  {} stars: width {:+.2} %, light {:+.2} %; field {:?} -> {:?}",
            widths.len(),
            100.0 * width,
            100.0 * light,
            before.fwhm_px,
            after.fwhm_px
        );
        assert!(widths.len() >= 20, "{filter:?}: {}", widths.len());
        assert!(width.abs() < 0.02, "{filter:?}: {width}");
        assert!(light.abs() < 0.02, "{filter:?}: {light}");
    }
}

#[test]
fn no_dark_ring_lies_around_bright_stars() {
    let sky = sky(Filter::Oiii, 8);
    let found = stars(&sky.noisy);
    let mut rings = vec![Vec::new(); 12];
    for star in found.stars.iter().filter(|s| s.peak > 50.0 * sky.sigma) {
        for y in -12i32..=12 {
            for x in -12i32..=12 {
                let (column, row) = (star.x as i32 + x, star.y as i32 + y);
                let radius = f64::from(x * x + y * y).sqrt() as usize;
                if radius < 12
                    && (0..SIZE.width as i32).contains(&column)
                    && (0..SIZE.height as i32).contains(&row)
                {
                    let at = row as usize * SIZE.width + column as usize;
                    rings[radius].push(f64::from(sky.smooth[at] - sky.truth[at]) / sky.sigma);
                }
            }
        }
    }
    for (radius, ring) in rings.iter().enumerate().skip(3) {
        let mean = ring.iter().sum::<f64>() / ring.len() as f64;
        println!("  ring {radius}: {mean:+.3} sigma over {} px", ring.len());
        assert!(mean > -0.15, "radius {radius}: {mean}");
    }
}
