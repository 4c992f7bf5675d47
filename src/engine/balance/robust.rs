//! The mean of values that outliers do not pull.

/// A weighted mean and what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mean {
    pub value: f64,
    /// Standard error of `value`.
    pub error: f64,
    /// Weighted standard deviation of what was kept.
    pub scatter: f64,
    /// For each value whether it was kept.
    pub kept: Vec<bool>,
}

/// Median of some numbers; NaN of none.
pub(crate) fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    match sorted.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => sorted[n / 2],
        n => 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]),
    }
}

/// 1.4826 times the median distance from `middle`: sigma of a bell.
pub(crate) fn spread(values: &[f64], middle: f64) -> f64 {
    let away: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    1.482_602_218_505_602 * median(&away)
}

/// The mean about `start` (the median where None). A value weighs
/// `1 / (error^2 + s^2)`, s being what the values scatter by themselves, and
/// counts where it lies within `clip` of its own sigma from the mean, until
/// nothing changes.
pub(crate) fn mean(values: &[f64], errors: &[f64], clip: f64, start: Option<f64>) -> Option<Mean> {
    if values.is_empty() {
        return None;
    }
    let mut value = start.unwrap_or_else(|| median(values));
    let near = |center: f64, width: f64| -> Vec<f64> {
        let chosen = values.iter().filter(|v| (*v - center).abs() <= width);
        chosen.copied().collect()
    };
    // Where a start is given, only what lies about it tells the scatter.
    let mut own = spread(values, value);
    if start.is_some() {
        own = own.min(spread(&near(value, 2.0 * own), value) * 1.1);
    }
    let mut kept = vec![true; values.len()];
    let mut scatter = own;
    for _ in 0..30 {
        let typical = median(errors);
        let inner = (own * own - typical * typical).max(0.0);
        let sigma2 = |error: f64| error * error + inner;
        let next: Vec<bool> = values
            .iter()
            .zip(errors)
            .map(|(v, e)| {
                let sigma = sigma2(*e).sqrt();
                (v - value).abs() <= clip * sigma + 1e-12
            })
            .collect();
        let (mut sum, mut weights, mut count) = (0.0, 0.0, 0.0);
        for ((v, e), keep) in values.iter().zip(errors).zip(&next) {
            if *keep {
                let weight = 1.0 / sigma2(*e).max(1e-18);
                sum += weight * v;
                weights += weight;
                count += 1.0;
            }
        }
        if count == 0.0 {
            break;
        }
        let moved = (sum / weights - value).abs();
        value = sum / weights;
        let mut squares = 0.0;
        for ((v, e), keep) in values.iter().zip(errors).zip(&next) {
            if *keep {
                squares += (v - value) * (v - value) / sigma2(*e).max(1e-18);
            }
        }
        scatter = (squares / weights).sqrt();
        let settled = next == kept && moved < 1e-12;
        kept = next;
        let within: Vec<f64> = values
            .iter()
            .zip(&kept)
            .filter_map(|(v, keep)| keep.then_some(*v))
            .collect();
        own = spread(&within, value).max(1e-9);
        if settled {
            break;
        }
    }
    let count = kept.iter().filter(|keep| **keep).count();
    let mut weights = 0.0;
    for (error, keep) in errors.iter().zip(&kept) {
        if *keep {
            let inner = (own * own - error * error).max(0.0);
            weights += 1.0 / (error * error + inner).max(1e-18);
        }
    }
    let by_errors = if weights > 0.0 {
        (1.0 / weights).sqrt()
    } else {
        f64::INFINITY
    };
    let by_scatter = scatter / (count.max(1) as f64).sqrt();
    Some(Mean {
        value,
        error: by_errors.max(by_scatter),
        scatter,
        kept,
    })
}

/// Where the values lie densest: the highest place of their density, each
/// spread by a bell of `width` and weighted by `1 / (error^2 + width^2)`.
pub(crate) fn mode(values: &[f64], errors: &[f64], width: f64) -> Option<f64> {
    let weight = |e: f64| 1.0 / (e * e + width * width).max(1e-18);
    let density = |at: f64| -> f64 {
        values
            .iter()
            .zip(errors)
            .map(|(v, e)| {
                let x = (v - at) / width;
                weight(*e) * libm::exp(-0.5 * x * x)
            })
            .sum()
    };
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let step = sorted.len().div_ceil(1000).max(1);
    let tried = sorted.iter().step_by(step).copied();
    let best = tried.map(|at| (density(at), at));
    best.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)))
        .map(|(_, at)| at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outliers_do_not_pull() {
        let mut values: Vec<f64> = (0..101).map(|i| 2.0 + 0.001 * (i as f64 - 50.0)).collect();
        values.extend([5.0; 20]);
        let errors = vec![0.01; values.len()];
        let found = mean(&values, &errors, 3.0, None).expect("values");
        assert!((found.value - 2.0).abs() < 1e-9, "{found:?}");
        assert_eq!(found.kept.iter().filter(|k| **k).count(), 101);
        assert!((found.scatter - 0.0292).abs() < 1e-3, "{found:?}");
        assert!(found.error > 0.002 && found.error < 0.004, "{found:?}");
        assert_eq!(mean(&[], &[], 3.0, None), None);
        let mode = mode(&values, &errors, 0.02).expect("values");
        assert!((mode - 2.0).abs() < 0.01);
    }

    #[test]
    fn equal_values_have_no_scatter() {
        let found = mean(&[1.5; 4], &[0.0; 4], 3.0, None).expect("values");
        assert_eq!((found.value, found.scatter), (1.5, 0.0));
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), 2.5);
    }
}
