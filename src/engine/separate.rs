//! stub
use super::align::stars::Stars;
use super::frame::Plane;
use core::ops::ControlFlow;
/// s
pub struct Separation {
    /// n
    pub nebula: Plane,
    /// p
    pub peaks: Plane,
    /// n
    pub notices: Vec<String>,
    /// s
    pub stars: usize,
    /// s
    pub saturated: usize,
}
/// s
pub fn stars_apart(
    p: &Plane,
    _s: &Stars,
    _c: Option<f64>,
    _t: &dyn Fn(usize, usize) -> ControlFlow<()>,
) -> Result<Separation, ()> {
    Ok(Separation {
        nebula: p.clone(),
        peaks: p.clone(),
        notices: vec![],
        stars: 0,
        saturated: 0,
    })
}
