//! One picture of parts of several.

use super::Split;
use crate::io::draw::Picture;

/// Takes each pixel from the picture whose part it lies in. All pictures have
/// one size; there is one at least.
pub fn joined(pictures: &[Picture], split: Split) -> Option<Picture> {
    let mut joined = pictures.first()?.clone();
    let [width, height] = joined.size;
    for y in 0..height {
        for (index, [from, to]) in spans(pictures.len(), split, y, width, height)
            .into_iter()
            .enumerate()
        {
            let (from, to) = (3 * (y * width + from), 3 * (y * width + to));
            let part = pictures.get(index)?.rgb.get(from..to)?;
            joined.rgb.get_mut(from..to)?.copy_from_slice(part);
        }
    }
    Some(joined)
}

// From where to where in a row each part reaches.
fn spans(count: usize, split: Split, y: usize, width: usize, height: usize) -> Vec<[usize; 2]> {
    match split {
        Split::Vertical => (0..count)
            .map(|part| [part * width / count, (part + 1) * width / count])
            .collect(),
        Split::Diagonal => {
            // The line at the middle of the row.
            let share = 1.0 - (y as f64 + 0.5) / height as f64;
            let at = ((share * width as f64).round() as usize).min(width);
            vec![[0, at], [at, width]]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(code: u8) -> Picture {
        Picture {
            size: [6, 4],
            rgb: vec![code; 6 * 4 * 3],
        }
    }

    #[test]
    fn parts_come_from_their_own_pictures() {
        let three = [flat(1), flat(2), flat(3)];
        let joined = joined(&three, Split::Vertical).expect("joined");
        let row: Vec<u8> = joined.rgb[..18].iter().step_by(3).copied().collect();
        assert_eq!(row, [1, 1, 2, 2, 3, 3]);
        assert_eq!(joined.rgb[..18], joined.rgb[18..36]);
    }

    #[test]
    fn a_diagonal_leaves_the_first_the_upper_left() {
        let joined = joined(&[flat(1), flat(2)], Split::Diagonal).expect("joined");
        let at = |x: usize, y: usize| joined.rgb[3 * (6 * y + x)];
        assert_eq!((at(0, 0), at(4, 0), at(5, 3), at(1, 3)), (1, 1, 2, 2));
    }
}
