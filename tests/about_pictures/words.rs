//! Where words of a key lie.

use linehue::io::draw::Scene;
use linehue::work::key::looks::DARK;
use linehue::work::key::scene::{Plan, Setting, scene};

use super::*;

// Many channels, also invisible and broad ones, and two of one line.
fn crowd(title: &str) -> String {
    let lines = [
        ("oii", "OII"),
        ("hb", "Hb"),
        ("oiii", "OIII"),
        ("hei", "HeI"),
        ("oi", "OI"),
        ("nii", "NII"),
        ("ha", "Ha"),
        ("second-night-of-the-lantern-shell", "Ha"),
        ("sii", "SII"),
        ("siii", "SIII"),
        ("l", "L"),
        ("r", "R"),
        ("g", "G"),
        ("b", "B"),
    ];
    let mut text = format!("recipe = 1\n[about]\ntitle = {title:?}\ncredit = {title:?}\n");
    for (id, line) in lines {
        text += &format!(
            "[[channel]]\nid = \"{id}\"\nfile = \"f\"\nline = \"{line}\"\n\
             [channel.stretch]\nblack = 0\nwhite = 1\n"
        );
    }
    text += "[[rendition]]\nid = \"all\"\n[rendition.colors]\n";
    for (index, (id, _)) in lines.iter().enumerate() {
        text += &match index % 4 {
            0 => format!("{id} = {{ hue = {} }}\n", 340 + index),
            1 => format!("{id} = {{ hue = {} }}\n", 20 + 2 * index),
            2 => format!("{id} = [1, 1, 1]\n"),
            _ => format!("{id} = \"#4060{index:02x}\"\n"),
        };
    }
    text
}

fn drawn(text: &str, width: f64, setting: Setting) -> Scene {
    let recipe = parse(text, "test").expect("sound");
    let plan = Plan {
        width,
        looks: DARK,
        setting,
    };
    scene(&recipe, &recipe.renditions[0], plan).expect("drawn")
}

fn sample() -> String {
    fs::read_to_string("sample-stacks/lantern/lantern.toml").expect("the sample")
}

#[test]
fn words_lie_neither_on_each_other_nor_beyond_the_drawing() {
    let long = "A title that goes on and on, far beyond what any drawing has room for, ".repeat(4);
    for text in [sample(), crowd("Crowd"), crowd(&long), crowd("")] {
        for setting in [Setting::Alone, Setting::Among, Setting::OnPicture] {
            for width in [420.0, 580.0, 960.0, 1400.0] {
                let scene = drawn(&text, width, setting);
                let words = scene.words();
                for (index, one) in words.iter().enumerate() {
                    let [left, top, right, bottom] = one.reach();
                    let name = &one.text;
                    assert!(left >= -0.01 && right <= width + 0.01, "{name} at {width}");
                    assert!(
                        top >= -3.0 && bottom <= scene.size[1] + 3.0,
                        "{name} at {width}"
                    );
                    for other in &words[index + 1..] {
                        let [l, t, r, b] = other.reach();
                        let apart = right <= l || r <= left || bottom <= t || b <= top;
                        assert!(
                            apart,
                            "{name} lies on {} at {width} {setting:?}",
                            other.text
                        );
                    }
                }
            }
        }
    }
}
