//! Robust estimates on a sample.

/// 1 / Phi^-1(3/4): from a median absolute deviation to sigma.
const SIGMA_PER_MAD: f64 = 1.482_602_218_505_602;

/// Values farther from the median than so many sigma are no sky.
const CLIP_SIGMA: f64 = 3.0;

/// Enough rounds for any field; most stop after five.
const ROUNDS: usize = 50;

/// The median of values in rising order; NaN where there are none.
pub(super) fn median(sorted: &[f32]) -> f64 {
    let half = sorted.len() / 2;
    match sorted {
        [] => f64::NAN,
        _ if sorted.len() % 2 == 1 => f64::from(sorted[half]),
        _ => (f64::from(sorted[half - 1]) + f64::from(sorted[half])) / 2.0,
    }
}

/// The standard deviation of values in rising order. Sums run over the order
/// of the values, so that they do not depend on where the pixels stood.
fn deviation(sorted: &[f32]) -> f64 {
    let count = sorted.len() as f64;
    let mean = sorted.iter().map(|value| f64::from(*value)).sum::<f64>() / count;
    let squares = sorted.iter().map(|value| {
        let offset = f64::from(*value) - mean;
        offset * offset
    });
    (squares.sum::<f64>() / count).sqrt()
}

/// The sky and the sigma about it, of values in rising order: the median,
/// values beyond 3 standard deviations from it left out until nothing changes.
pub(super) fn sky(sorted: &[f32]) -> (f64, f64) {
    let mut left = sorted;
    let mut level = median(left);
    let mut sigma = deviation(left);
    for _ in 0..ROUNDS {
        let (low, high) = (level - CLIP_SIGMA * sigma, level + CLIP_SIGMA * sigma);
        let from = left.partition_point(|value| f64::from(*value) < low);
        let to = left.partition_point(|value| f64::from(*value) <= high);
        if from == 0 && to == left.len() || from >= to {
            break;
        }
        left = &left[from..to];
        level = median(left);
        sigma = deviation(left);
    }
    (level, sigma)
}

/// Sigma of one pixel from absolute values of second differences, whose
/// variance is 6 times that of a pixel. 0 where there are none.
pub(super) fn noise(mut differences: Vec<f32>) -> f64 {
    if differences.is_empty() {
        return 0.0;
    }
    // The median needs no order of all the rest, which takes longer to make.
    let half = differences.len() / 2;
    let (below, upper, _) = differences.select_nth_unstable_by(half, f32::total_cmp);
    let upper = f64::from(*upper);
    let middle = match below.iter().copied().max_by(f32::total_cmp) {
        Some(lower) if differences.len().is_multiple_of(2) => (f64::from(lower) + upper) / 2.0,
        _ => upper,
    };
    let root_six = 6.0_f64.sqrt();
    let high = differences.len() * 9 / 10;
    let (_, high, _) = differences.select_nth_unstable_by(high, f32::total_cmp);
    let reach = ALIKE * f64::from(*high);
    let near = |value: &&f32| (f64::from(**value) - middle).abs() <= reach;
    // Coarse values: many differences are the same, but for rounding.
    if differences.iter().filter(near).count() * COARSE > differences.len() {
        differences.sort_unstable_by(f32::total_cmp);
        if middle <= reach {
            return clipped_rms(&differences) / root_six;
        }
        let middle = grouped_median(&differences, reach).unwrap_or(middle);
        return SIGMA_PER_MAD * middle / root_six;
    }
    SIGMA_PER_MAD * middle / root_six
}

/// Differences are the same where they lie apart by less than this part of a
/// high one (nine tenths lie below it): what was scaled or levelled does not lie
/// on its steps to the bit.
const ALIKE: f64 = 0.01;

/// Values are coarse where more than one difference in so many is the middle one.
const COARSE: usize = 20;

/// The median of absolute values in rising order that lie on steps, to within
/// `reach`, as if each group of like ones were spread evenly over its step (the
/// usual median of grouped data). `None` where they lie on no steps.
fn grouped_median(sorted: &[f32], reach: f64) -> Option<f64> {
    let value = |at: usize| f64::from(sorted[at]);
    let below = |limit: f64| sorted.partition_point(|value| f64::from(*value) < limit);
    let middle = value(sorted.len() / 2);
    let (from, to) = (below(middle - reach), below(middle + reach));
    // A step is as long as the way to the next group that has many.
    let many = (to - from) / COARSE;
    let (mut lower, mut higher) = (from, to);
    let to_lower = loop {
        let last = lower.checked_sub(1).map(value);
        let Some(last) = last else {
            break f64::INFINITY;
        };
        let first = below(last - 2.0 * reach);
        if lower - first > many {
            break middle - value((first + lower) / 2);
        }
        lower = first;
    };
    let to_higher = loop {
        if higher >= sorted.len() {
            break f64::INFINITY;
        }
        let end = below(value(higher) + 2.0 * reach).max(higher + 1);
        if end - higher > many {
            break value((higher + end) / 2) - middle;
        }
        higher = end;
    };
    let step = to_lower.min(to_higher);
    if !step.is_finite() || step < 3.0 * reach {
        return None;
    }
    let half = sorted.len() as f64 / 2.0;
    let share = (half - from as f64) / (to - from) as f64;
    Some(middle + (share - 0.5) * step)
}

/// The root mean square of absolute values in rising order, those above 4
/// times it left out until nothing changes. Sums run over the order of the
/// values, so that they do not depend on where the pixels stood.
fn clipped_rms(sorted: &[f32]) -> f64 {
    let mut left = sorted;
    let mut rms = 0.0;
    for _ in 0..ROUNDS {
        let sum: f64 = left.iter().map(|d| f64::from(*d) * f64::from(*d)).sum();
        rms = (sum / left.len() as f64).sqrt();
        let to = left.partition_point(|d| f64::from(*d) <= 4.0 * rms);
        if to == left.len() || to == 0 {
            break;
        }
        left = &left[..to];
    }
    rms
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_of_few() {
        assert!(median(&[]).is_nan());
        assert_eq!(median(&[3.0]), 3.0);
        assert_eq!(median(&[1.0, 4.0]), 2.5);
        assert_eq!(deviation(&[1.0, 3.0]), 1.0);
    }

    #[test]
    fn one_value_has_no_spread() {
        assert_eq!(sky(&[7.0; 10]), (7.0, 0.0));
        assert_eq!(noise(vec![]), 0.0);
        assert_eq!(noise(vec![0.0; 10]), 0.0);
    }

    /// How many of `count` differences of a normal spread `sigma`, counted in
    /// whole steps, come out as each step, from the error function.
    fn steps(sigma: f64, count: f64) -> Vec<f32> {
        let within = |to: f64| libm::erf(to / (sigma * 2.0_f64.sqrt()));
        (0..(8.0 * sigma) as u32)
            .flat_map(|step| {
                let middle = f64::from(step);
                let share = within(middle + 0.5) - within((middle - 0.5).max(0.0));
                vec![step as f32; (share * count).round() as usize]
            })
            .collect()
    }

    /// Whole numbers of a sensor: what lies between the steps is known from
    /// how many lie on them, with nebula among them or not.
    #[test]
    fn noise_of_coarse_values_is_known_between_their_steps() {
        for sigma in [0.7, 0.8, 1.0, 1.3, 2.0, 4.0] {
            let spread = sigma * 6.0_f64.sqrt();
            let found = noise(steps(spread, 1e5)) / sigma;
            assert!((found - 1.0).abs() < 0.05, "sky of {sigma}: {found}");

            let mut nebula = steps(spread, 9e4);
            nebula.extend(steps(spread * 4.0, 1e4));
            let found = noise(nebula) / sigma;
            assert!((found - 1.0).abs() < 0.15, "nebula over {sigma}: {found}");
        }
    }

    /// Steps need not be whole numbers: the mean of 8 frames has eighths.
    #[test]
    fn steps_may_be_of_any_size() {
        let eighths = steps(3.0, 1e5).iter().map(|value| value / 8.0).collect();
        let found = noise(eighths) * 6.0_f64.sqrt();
        assert!((found - 0.375).abs() < 0.01, "{found}");
    }

    /// Nor need differences lie on them to the bit: tenths, shares of the full
    /// scale and levelled values do not, and some pixels were mended.
    #[test]
    fn steps_may_be_met_but_nearly() {
        for sigma in [0.3, 0.5, 0.8, 1.0, 1.3, 2.0] {
            let spread = sigma * 6.0_f64.sqrt();
            let exact = steps(spread, 1e5);
            let truth = noise(exact.clone());
            let shift = |at: usize| (at * 7919 % 1009) as f32 / 1009.0 - 0.5;
            for (size, off) in [(0.1, 1e-6), (1.0 / 65535.0, 1e-4), (1.0, 1e-3)] {
                let values = exact.iter().enumerate();
                let nearly = |(at, value): (usize, &f32)| (value + off * shift(at)).abs() * size;
                let found = noise(values.map(nearly).collect()) / f64::from(size);
                assert!(
                    (found / truth - 1.0).abs() < 0.02,
                    "{sigma}: {found} {truth}"
                );
            }
            let mut mended = exact.clone();
            for (at, value) in mended.iter_mut().enumerate().step_by(1000) {
                *value += 0.4 + 0.2 * shift(at);
            }
            let found = noise(mended);
            assert!(
                (found / truth - 1.0).abs() < 0.02,
                "{sigma}: {found} {truth}"
            );
        }
    }

    /// Worked by hand: 100 falls out in the first round, nothing after it.
    #[test]
    fn clipping_leaves_out_what_is_far() {
        let mut values = vec![-1.0f32; 10];
        values.extend([0.0; 10]);
        values.extend([1.0; 10]);
        values.push(100.0);
        let (level, sigma) = sky(&values);
        assert_eq!(level, 0.0);
        assert!((sigma - (2.0f64 / 3.0).sqrt()).abs() < 1e-12);
    }
}
