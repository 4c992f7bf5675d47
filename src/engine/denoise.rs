//! stub
use super::frame::Plane;
use core::ops::ControlFlow;
/// m
pub const METHOD: &str = "x";
/// s
pub fn smoothed(
    p: &Plane,
    _c: Option<f64>,
    _t: &dyn Fn(usize, usize) -> ControlFlow<()>,
) -> Result<Plane, ()> {
    Ok(p.clone())
}
/// b
pub fn blend(v: &mut [f32], s: &[f32], k: f32) {
    for (v, s) in v.iter_mut().zip(s) {
        *v += k * (*s - *v);
    }
}
