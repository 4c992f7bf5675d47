//! How far the lines of a palette lie apart, by computation.

use super::{Apart, Palette};
use crate::engine::color::difference::{Lab, ciede2000};
use crate::engine::color::transfer::srgb_decode_exact;
use crate::engine::color::vision::Vision;
use crate::engine::mix::assign::vector;

/// The lines that nearly every narrowband field has.
const LINES: [&str; 3] = ["Ha", "OIII", "SII"];

const TONES: [f64; 3] = [1.0, 0.75, 0.5];

/// How far a palette's lines lie apart, to one digit (see [`Apart`]); None
/// where it names fewer than two of the three.
pub fn apart(palette: &Palette) -> Option<Apart> {
    let colors: Vec<[f64; 3]> = LINES
        .iter()
        .filter_map(|id| {
            let value = palette.colors.get(*id).or(palette.every.as_ref())?;
            vector(value, id, None).ok().flatten()
        })
        .collect();
    (colors.len() > 1).then(|| {
        let nearest = |vision| (nearest(&colors, vision) * 10.0).round() / 10.0;
        Apart {
            usual: nearest(Vision::Usual),
            protan: nearest(Vision::Protan),
            deutan: nearest(Vision::Deutan),
            tritan: nearest(Vision::Tritan),
        }
    })
}

fn nearest(colors: &[[f64; 3]], vision: Vision) -> f64 {
    let mut least = f64::INFINITY;
    for tone in TONES {
        let light = srgb_decode_exact(tone);
        let seen: Vec<Lab> = colors
            .iter()
            .map(|color| vision.see(color.map(|component| component * light)))
            .map(Lab::from_linear_srgb)
            .collect();
        for (index, one) in seen.iter().enumerate() {
            for two in &seen[..index] {
                least = least.min(ciede2000(*one, *two));
            }
        }
    }
    least
}

#[cfg(test)]
mod tests {
    use super::super::built_in;
    use super::*;

    /// The numbers in the files come from an independent implementation.
    #[test]
    fn what_the_files_say_is_found_again() {
        let mut checked = 0;
        for palette in built_in() {
            let Some(said) = palette.apart else { continue };
            let found = apart(palette).expect(&palette.name);
            for (found, said) in [
                (found.usual, said.usual),
                (found.protan, said.protan),
                (found.deutan, said.deutan),
                (found.tritan, said.tritan),
            ] {
                assert!((found - said).abs() < 0.11, "{}: {found}", palette.name);
            }
            checked += 1;
        }
        assert_eq!(checked, 15);
    }

    #[test]
    fn one_line_alone_lies_apart_from_nothing() {
        let mut palette = built_in()[1].clone();
        palette.colors.retain(|line, _| line == "Ha");
        assert_eq!(apart(&palette), None);
    }
}
