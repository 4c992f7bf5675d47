use super::*;
use crate::engine::recipe::Shape;
use proptest::prelude::*;

fn stretch(white: f64) -> Stretch {
    Stretch {
        black: 90.0,
        white,
        shape: Shape::Asinh,
        amount: Some(20.0),
        curve: None,
    }
}

fn line(stretch: &Stretch, vector: [f64; 3]) -> Line<'_> {
    Line {
        stretch,
        vector,
        shown: vector,
        sky: 100.0,
        noise: 2.0,
    }
}

fn run(values: [f32; 2], by: By, strengths: [f64; 2]) -> (Counts, [u16; 3]) {
    let stretch = stretch(1100.0);
    let lines = [
        line(&stretch, [strengths[0], 0.0, 0.0]),
        line(&stretch, [0.0, strengths[1], strengths[1]]),
    ];
    let mut code = [0; 3];
    let [one, other] = values.map(|value| [value]);
    let counts = Leading::new(&lines, by).run(&[&one, &other], &mut code);
    (counts, code)
}

#[test]
fn the_stronger_leads_and_the_faint_sky_is_masked() {
    for by in [By::Shown, By::Noise] {
        let (counts, code) = run([500.0, 200.0], by, [1.0, 1.0]);
        assert_eq!((counts.nebula, counts.led), (1, vec![1, 0]));
        assert!(code[0] > code[2], "{code:?}");
        // 2.5 sigma is sky, 3 sigma is not.
        let (counts, code) = run([105.0, 101.0], by, [1.0, 1.0]);
        assert_eq!((counts.valid, counts.nebula, code), (1, 0, [0; 3]));
        assert_eq!(run([106.0, 101.0], by, [1.0, 1.0]).0.nebula, 1);
    }
}

#[test]
fn a_lead_within_the_noise_is_undecided() {
    let (counts, code) = run([500.0, 501.0], By::Noise, [1.0, 1.0]);
    assert_eq!((counts.undecided(), counts.leaning), (1, vec![0, 1]));
    assert!(code[0] == code[1] && code[1] == code[2] && code[0] > 0);
    // sqrt(2) sigma of 2 is 2.83.
    assert_eq!(run([500.0, 503.0], By::Noise, [1.0, 1.0]).0.led, [0, 1]);
    // Both clipped: level, whatever lies beyond white.
    let (counts, _) = run([3000.0, 2000.0], By::Shown, [1.0, 1.0]);
    assert_eq!(counts.undecided(), 1);
}

#[test]
fn a_weaker_colour_shows_less_of_its_line() {
    assert_eq!(run([500.0, 400.0], By::Shown, [0.2, 1.0]).0.led, [0, 1]);
    assert_eq!(run([500.0, 400.0], By::Noise, [0.2, 1.0]).0.led, [1, 0]);
}

#[test]
fn missing_data_leads_nowhere() {
    assert_eq!(run([f32::NAN, 400.0], By::Shown, [1.0, 1.0]).0.led, [0, 1]);
    let (counts, code) = run([f32::NAN, f32::NAN], By::Shown, [1.0, 1.0]);
    assert_eq!((counts.valid, counts.nebula, code), (0, 0, [0; 3]));
}

proptest! {
    #[test]
    fn who_is_first_in_the_list_does_not_matter(a in 90.0..1200.0f32, b in 90.0..1200.0f32) {
        prop_assume!(a != b);
        let there = run([a, b], By::Shown, [1.0, 0.6]).0;
        let stretch = stretch(1100.0);
        let lines = [line(&stretch, [0.6, 0.0, 0.0]), line(&stretch, [0.0, 1.0, 1.0])];
        let mut code = [0; 3];
        let back = Leading::new(&lines, By::Shown).run(&[&[b], &[a]], &mut code);
        prop_assert_eq!(there.nebula, back.nebula);
        prop_assert_eq!(there.led[0], back.led[1]);
        prop_assert_eq!(there.undecided(), back.undecided());
    }
}

#[test]
fn the_parts_of_the_nebula_add_up() {
    let stretch = stretch(1100.0);
    let lines = [
        line(&stretch, [1.0, 0.0, 0.0]),
        line(&stretch, [0.0, 1.0, 1.0]),
    ];
    let one: Vec<f32> = (0..1000).map(|i| 95.0 + (i % 61) as f32).collect();
    let other: Vec<f32> = (0..1000).map(|i| 95.0 + (i % 67) as f32).collect();
    let mut codes = vec![0; 3000];
    let whole = Leading::new(&lines, By::Shown).run(&[&one, &other], &mut codes);
    assert_eq!(
        whole.led.iter().sum::<u64>() + whole.undecided(),
        whole.nebula
    );
    let mut parts = Counts::none(2);
    let mut again = vec![0; 3000];
    for part in 0..4 {
        let range = part * 250..(part + 1) * 250;
        let codes = &mut again[3 * range.start..3 * range.end];
        let leading = Leading::new(&lines, By::Shown);
        parts.add(&leading.run(&[&one[range.clone()], &other[range]], codes));
    }
    assert_eq!((parts, again), (whole, codes));
}
