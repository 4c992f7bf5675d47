//! One word for a colour, from the vocabulary of the AVM standard.

use super::oklab::oklch;

// Upper ends of Oklch hue ranges in degrees: midpoints between the hues of the
// sRGB reference colours of each word.
const WORDS: [(f64, &str); 9] = [
    (41.0, "Red"),
    (82.0, "Orange"),
    (126.0, "Yellow"),
    (168.0, "Green"),
    (229.0, "Cyan"),
    (279.0, "Blue"),
    (311.0, "Purple"),
    (346.0, "Magenta"),
    (360.0, "Red"),
];

/// The colour word that AVM 1.1's Spectral.ColorAssignment allows for a colour
/// in linear sRGB. Hardly coloured light is `Grayscale`.
pub fn color_name(linear_srgb: [f64; 3]) -> &'static str {
    let largest = linear_srgb.iter().copied().fold(0.0, f64::max);
    if largest <= 0.0 {
        return "Grayscale";
    }
    let [_, chroma, hue] = oklch(linear_srgb.map(|component| component / largest));
    if chroma < 0.02 {
        return "Grayscale";
    }
    WORDS
        .iter()
        .find(|(end, _)| hue < *end)
        .map_or("Red", |(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reference_colors_get_their_own_words() {
        for (rgb, word) in [
            ([1.0, 0.0, 0.0], "Red"),
            ([1.0, 0.216, 0.0], "Orange"),
            ([1.0, 1.0, 0.0], "Yellow"),
            ([0.0, 0.5, 0.0], "Green"),
            ([0.0, 1.0, 1.0], "Cyan"),
            ([0.0, 0.0, 3.0], "Blue"),
            ([0.216, 0.0, 1.0], "Purple"),
            ([1.0, 0.0, 1.0], "Magenta"),
            ([0.7, 0.7, 0.7], "Grayscale"),
            ([0.0, 0.0, 0.0], "Grayscale"),
        ] {
            assert_eq!(color_name(rgb), word, "{rgb:?}");
        }
    }
}
