//! Time to lay two star lists on each other, or to refuse.

#[path = "../support/star_fields.rs"]
mod star_fields;

use divan::Bencher;
use linehue::engine::align::matching::match_stars;
use linehue::engine::frame::Size;
use star_fields::{ALIKE, Random, Unlike, lone_field, random_truth, scene};

fn main() {
    divan::main();
}

#[divan::bench(args = [30, 300, 3_000, 20_000])]
fn related(bencher: Bencher<'_, '_>, stars: usize) {
    let random = &mut Random(1);
    let truth = random_truth(random, 1.3, [0.6, 0.9]);
    let unlike = Unlike {
        colors: 2.5,
        missing: 0.1,
        spurious: 0.15,
        ..ALIKE
    };
    let both = scene(random, &truth, stars, unlike);
    bencher.bench(|| match_stars(&both.source, &both.reference, truth.source, truth.reference));
}

#[divan::bench(args = [30, 300, 3_000, 20_000])]
fn unrelated(bencher: Bencher<'_, '_>, stars: usize) {
    let random = &mut Random(2);
    let size = Size {
        width: 3000,
        height: 2000,
    };
    let source = lone_field(random, stars, size);
    let reference = lone_field(random, stars, size);
    bencher.bench(|| match_stars(&source, &reference, size, size));
}
