//! Distortion of a detector, by the SIP convention: u' = u + A(u, v),
//! v' = v + B(u, v) with u and v in pixels from the reference pixel.

use crate::engine::header::Header;

/// Highest order that the convention's keywords can name.
const MOST: usize = 9;
/// Steps of the inverse before it is given up.
const STEPS: usize = 40;

#[derive(Debug, Clone, PartialEq)]
struct Polynomial {
    order: usize,
    // terms[p][q] belongs to u^p v^q.
    terms: [[f64; MOST + 1]; MOST + 1],
}

impl Polynomial {
    fn read(header: &Header, letter: char) -> Result<Option<Self>, String> {
        let keyword = format!("{letter}_ORDER");
        let Some(order) = header.number(&keyword) else {
            return Ok(None);
        };
        if !(0.0..=MOST as f64).contains(&order) || order != order.trunc() {
            return Err(format!(
                "{keyword} = {order} is not a whole number up to {MOST}"
            ));
        }
        let order = order as usize;
        let mut terms = [[0.0; MOST + 1]; MOST + 1];
        for (p, row) in terms.iter_mut().enumerate().take(order + 1) {
            for (q, term) in row.iter_mut().enumerate().take(order + 1 - p) {
                *term = header.number(&format!("{letter}_{p}_{q}")).unwrap_or(0.0);
            }
        }
        Ok(Some(Self { order, terms }))
    }

    /// The value at (u, v) and its derivatives along u and v.
    fn at(&self, [u, v]: [f64; 2]) -> [f64; 3] {
        let (mut value, mut by_u, mut by_v) = (0.0, 0.0, 0.0);
        for p in (0..=self.order).rev() {
            let (mut row, mut row_by_v) = (0.0, 0.0);
            for q in (0..=self.order - p).rev() {
                row_by_v = row_by_v * v + row;
                row = row * v + self.terms[p][q];
            }
            by_u = by_u * u + value;
            value = value * u + row;
            by_v = by_v * u + row_by_v;
        }
        [value, by_u, by_v]
    }
}

/// Both polynomials of a header.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Distortion {
    a: Polynomial,
    b: Polynomial,
}

impl Distortion {
    /// None without A_ORDER and B_ORDER. The terms count with or without `-SIP`
    /// in CTYPE, which many headers leave out.
    pub fn read(header: &Header) -> Result<Option<Self>, String> {
        match (
            Polynomial::read(header, 'A')?,
            Polynomial::read(header, 'B')?,
        ) {
            (None, None) => Ok(None),
            (Some(a), Some(b)) => Ok(Some(Self { a, b })),
            _ => Err("it gives only one of A_ORDER and B_ORDER".to_owned()),
        }
    }

    /// Pixels as they are to pixels as they should be.
    pub fn apply(&self, at: [f64; 2]) -> [f64; 2] {
        [at[0] + self.a.at(at)[0], at[1] + self.b.at(at)[0]]
    }

    /// The way back by Newton's method; None where it does not settle.
    pub fn undo(&self, end: [f64; 2]) -> Option<[f64; 2]> {
        let mut at = end;
        for _ in 0..STEPS {
            let [a, a_u, a_v] = self.a.at(at);
            let [b, b_u, b_v] = self.b.at(at);
            let (off_u, off_v) = (at[0] + a - end[0], at[1] + b - end[1]);
            let determinant = (1.0 + a_u) * (1.0 + b_v) - a_v * b_u;
            // Beyond a fold the polynomials no longer describe the detector.
            if determinant.is_nan() || determinant <= 0.05 {
                return None;
            }
            let step_u = ((1.0 + b_v) * off_u - a_v * off_v) / determinant;
            let step_v = ((1.0 + a_u) * off_v - b_u * off_u) / determinant;
            at = [at[0] - step_u, at[1] - step_v];
            if step_u.abs() + step_v.abs() < 1e-9 {
                return at.iter().all(|part| part.is_finite()).then_some(at);
            }
        }
        None
    }
}
