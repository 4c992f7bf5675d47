//! Words stand on the page and not on each other, keys can be read, and nothing
//! is wider than was asked for where the pictures have the pixels.

use std::path::PathBuf;

use super::*;
use crate::engine::recipe::text::parse;
use crate::work::key::Subject;
use crate::work::key::facts::facts;
use crate::work::key::scene::{Plan, Setting, laid};
use crate::work::targets::fitted;

fn recipe(count: usize) -> Recipe {
    let long = "A title that goes on and on and on ".repeat(6);
    let mut text = format!("recipe = 1\n[about]\ntitle = {long:?}\ncredit = {long:?}\n");
    for (id, line) in [("ha", "Ha"), ("oiii", "OIII"), ("nii", "NII"), ("l", "L")] {
        text += &format!(
            "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
             stretch = {{ black = 0, white = 1 }}\n"
        );
    }
    for number in 0..count {
        text += &format!(
            "[[rendition]]\nid = \"a-rendition-with-a-long-name-{number}\"\n\
             colors = {{ ha = \"natural\", oiii = {{ hue = {number} }}, nii = {{ hue = 30 }}, \
             l = [1, 1, 1] }}\n"
        );
    }
    parse(&text, "test").expect("sound")
}

fn drawn(recipe: &Recipe, request: &Request, size: Size) -> Option<Scene> {
    let looks = Looks::of(false);
    let layout = Layout::new(request, size, looks).ok()?;
    let small = fitted(size, Some(layout.long_edge()));
    let part = |rendition| Part {
        picture: Picture {
            size: [small.width, small.height],
            rgb: vec![0; 3 * small.pixels()],
        },
        facts: facts(recipe, rendition).expect("facts"),
        key: request.key.then(|| {
            let plan = Plan {
                width: layout.key_units(),
                looks,
                setting: Setting::Among,
            };
            laid(recipe, rendition, plan).expect("a key")
        }),
    };
    let parts: Vec<Part> = recipe.renditions.iter().map(part).collect();
    Some(layout.scene(recipe, small, parts))
}

fn requests(recipe: &Recipe) -> impl Iterator<Item = Request> {
    let ids: Vec<String> = recipe.renditions.iter().map(|r| r.id.clone()).collect();
    let mut all = Vec::new();
    for split in [None, Some(Split::Vertical), Some(Split::Diagonal)] {
        for (key, width) in [(true, 320), (false, 700), (true, 1000), (true, 2400)] {
            if split == Some(Split::Diagonal) && ids.len() > 2 {
                continue;
            }
            all.push(Request {
                subject: Subject::of(recipe.clone(), PathBuf::new(), None),
                renditions: ids.clone(),
                out: PathBuf::new(),
                split,
                key,
                width,
                light: false,
            });
        }
    }
    all.into_iter()
}

#[test]
fn words_stand_on_the_page_and_not_on_each_other() {
    for (width, height) in [(3000, 2000), (4000, 700), (900, 3000), (150, 100)] {
        let size = Size { width, height };
        for count in [2, 5] {
            let recipe = recipe(count);
            for request in requests(&recipe) {
                let name = format!("{size} {count} {:?} {}", request.split, request.width);
                let Some(scene) = drawn(&recipe, &request, size) else {
                    continue;
                };
                let words = scene.words();
                for (index, one) in words.iter().enumerate() {
                    let [left, top, right, bottom] = one.reach();
                    let inside = left >= -0.1 && right <= scene.size[0] + 0.1 && top >= 0.0;
                    assert!(inside && bottom <= scene.size[1], "{name}: {}", one.text);
                    for other in &words[index + 1..] {
                        let [l, t, r, b] = other.reach();
                        let apart = right <= l || r <= left || bottom <= t || b <= top;
                        assert!(apart, "{name}: {} on {}", one.text, other.text);
                    }
                }
            }
        }
    }
}

#[test]
fn keys_can_be_read_and_large_pictures_fill_the_page() {
    let recipe = recipe(5);
    let large = Size {
        width: 3000,
        height: 2000,
    };
    let small = Size {
        width: 150,
        height: 100,
    };
    for request in requests(&recipe).filter(|request| request.key) {
        for size in [large, small] {
            let Some(scene) = drawn(&recipe, &request, size) else {
                continue;
            };
            // The numbers of the spectrum are the smallest, 11.5 units high.
            let sizes = scene.words().into_iter().map(|words| words.size);
            let smallest = sizes.fold(f64::INFINITY, f64::min);
            let least = if request.width == 320 { 0.6 } else { 0.74 };
            assert!(smallest >= 11.5 * least, "{}: {smallest}", request.width);
            if size == large {
                assert_eq!(scene.size[0], request.width as f64, "{:?}", request.split);
            }
        }
    }
}
