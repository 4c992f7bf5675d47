//! Stars that were taken for one.
//!
//! Stars about a width apart are found as one that is too wide or too long. Images
//! of a point, where they lie and how high they stand, are fitted to it together
//! (Gauss and Newton's way), one more as long as there are too few; they take its
//! place if they explain all of it.

use rayon::prelude::*;

use super::fit::{MOST, Round, Spot, solve};
use super::image::Want;
use super::judge::Look;
use super::pixels::Window;

/// So many times its error a star may be several; and each of them stands out of it
/// by so much.
const CLEAR: f64 = 25.0;
const EACH: f64 = 5.0;

/// Longer than this, in the image's variance, and so many times the error of that.
const LONG: f64 = 0.08;
const SURE: f64 = 5.0;

/// No two are nearer to each other, in widths.
const NEAREST: f64 = 0.35;

/// The pixels that are fitted lie so far around, and stars that are fitted anew, in
/// widths.
const AROUND: f64 = 2.2;
pub(super) const BESIDE: f64 = 1.6;

/// The part of their light by which the image of a point is taken to be wrong.
const WRONG: f64 = 0.02;

/// The square of what they leave, in what was expected, at the most; beside what
/// one leaves; and how much less that must be with one more.
const LEFT: f64 = 1.5;
const BETTER: f64 = 0.35;
const MORE: f64 = 0.7;

/// A part of the height that one image has is that of two beside each other together.
const PAIRED: f64 = 0.9;

/// Steps of the fit at most, and how far a star goes in one, in widths.
const STEPS: usize = 20;
const STEP: f64 = 0.3;

/// A fit ends where more than so many steps leave hardly less: by this part.
const IN_VAIN: usize = 2;
const GAIN: f64 = 1e-3;

/// So much is left of what no star more explains; and what is less by no more than
/// that part then.
const HOPELESS: f64 = 50.0;
const HOPELESS_GAIN: f64 = 0.1;

/// A plane's terms and a star's; stars at the most.
const PLANE: usize = 3;
const EACH_HAS: usize = 3;
const STARS: usize = 4;

/// A pixel of the fit.
struct Pixel {
    column: usize,
    row: usize,
    /// Without the light of stars that are not fitted.
    value: f64,
}

/// Height, column and row of a star.
type Point = [f64; 3];

/// Stars in the place of others.
#[derive(Debug, Clone)]
pub(super) struct Group {
    /// The numbers of those.
    pub members: Vec<u32>,
    /// The highest first.
    pub stars: Vec<Spot>,
}

/// What is fitted: pixels of a window, and what is expected of them.
struct Scene<'a> {
    pixels: &'a [Pixel],
    window: Window,
    sigma: f64,
}

/// Stars, and the mean square of what they leave.
#[derive(Clone)]
struct Fitted {
    stars: Vec<Point>,
    level: [f64; PLANE],
    left: f64,
}

impl Round<'_> {
    /// All that is several stars taken for one.
    pub fn groups(&self, spots: &[Spot]) -> Vec<Group> {
        let of = |(index, spot): (usize, &Spot)| {
            let clear = spot.height > CLEAR * self.error(spot);
            if !clear || spot.plateau_px > 0.0 {
                return None;
            }
            let look = self.look(spot.place, Some(index), spot.full)?;
            self.split(spot, Some(index), &look, &self.beside[index], false)
        };
        spots.par_iter().enumerate().filter_map(of).collect()
    }

    /// Stars in place of one that is longer than a point, and of those `beside` it.
    /// `own` is its number where its light is on the plate; what is `crowded` may
    /// look otherwise for what is beside it.
    pub fn split(
        &self,
        spot: &Spot,
        own: Option<usize>,
        look: &Look,
        beside: &[u32],
        crowded: bool,
    ) -> Option<Group> {
        let error = self.error(spot);
        let long = look.wider + look.longer > LONG + SURE * look.unsure;
        let mut members: Vec<u32> = own.iter().map(|own| *own as u32).collect();
        let beside = beside.iter().filter(|other| self.near(**other, spot.place));
        members.extend(beside.take(STARS - 2));
        let others = &members[usize::from(own.is_some())..];
        let high = spot.height.max(look.height) > CLEAR * error;
        if !(high && (long || crowded && !others.is_empty())) {
            return None;
        }
        let [x, y] = spot.place;
        let window = Window::around(
            spot.place,
            AROUND * self.image.psf.fwhm_px,
            self.pixels.width,
            self.pixels.height,
        );
        let scene = Scene {
            pixels: &self.around(spot, &members, window)?,
            window,
            sigma: f64::from(self.noise.alone(x as f32, y as f32)),
        };
        let stars = self.explain(&scene, spot.place, look, others)?;
        if stars.iter().any(|star| !(star[0] > EACH * error)) {
            return None;
        }
        let stars = stars.iter().map(|[height, x, y]| Spot {
            given: [*x, *y],
            place: [*x, *y],
            height: *height,
            listed: false,
            group: true,
            ..spot.clone()
        });
        Some(Group {
            stars: stars.collect(),
            members,
        })
    }

    /// Whether a star is so near to a place that it is fitted anew.
    fn near(&self, star: u32, [x, y]: [f64; 2]) -> bool {
        let star = &self.plate.drawn[star as usize];
        let near = libm::hypot(star.x - x, star.y - y) < BESIDE * self.image.psf.fwhm_px;
        // One that is cut off shows less than its height.
        near && star.height > 0.0 && star.shown >= star.height
    }

    /// As many stars, with the `others`, as explain a scene.
    fn explain(
        &self,
        scene: &Scene<'_>,
        [x, y]: [f64; 2],
        look: &Look,
        others: &[u32],
    ) -> Option<Vec<Point>> {
        let width = self.image.psf.fwhm_px;
        let known = others.iter().map(|other| {
            let star = &self.plate.drawn[*other as usize];
            [f64::from(star.height), star.x, star.y]
        });
        let known: Vec<Point> = known.collect();
        let with = |stars: &[Point]| self.improve(scene, [stars, &known].concat());
        let single = with(&[[look.height, x, y]])?;
        let mut best = single.clone();
        if known.is_empty() || best.left > LEFT {
            // Two equal ones so far apart are so long.
            let sigma = width / 2.354_82;
            let apart = 2.0 * sigma * (look.wider + look.longer).max(0.0).sqrt();
            let apart = apart.clamp(0.5 * width, 1.2 * width);
            let [c, s] = [libm::cos(look.angle), libm::sin(look.angle)];
            let tries = [0.25, 0.5, 0.75].into_iter().filter_map(|share| {
                let star = |part: f64, by: f64| {
                    let height = PAIRED * part * look.height;
                    [height, x + by * apart * c, y + by * apart * s]
                };
                with(&[star(share, share - 1.0), star(1.0 - share, share)])
            });
            best = tries.min_by(|a, b| a.left.total_cmp(&b.left))?;
        }
        while best.left > LEFT && best.left < HOPELESS && best.stars.len() < STARS {
            let mut more = best.stars.clone();
            more.push(self.missing(scene, &best));
            match self.improve(scene, more) {
                Some(more) if more.left < MORE * best.left => best = more,
                _ => break,
            }
        }
        best.stars.sort_by(|a, b| b[0].total_cmp(&a[0]));
        let close = |index: usize, star: &Point| {
            let mut higher = best.stars[..index].iter();
            higher
                .any(|other| libm::hypot(other[1] - star[1], other[2] - star[2]) < NEAREST * width)
        };
        let together = (best.stars.iter().enumerate()).any(|(index, star)| close(index, star));
        let better = !known.is_empty() || best.left < BETTER * single.left;
        (best.left < LEFT && better && !together).then_some(best.stars)
    }

    /// The pixels of a window with nothing but these stars' light on them.
    fn around(&self, spot: &Spot, members: &[u32], window: Window) -> Option<Vec<Pixel>> {
        let members: Vec<_> = members
            .iter()
            .map(|member| {
                let star = &self.plate.drawn[*member as usize];
                (star, self.image.place(star.x, star.y))
            })
            .collect();
        let mut mine = vec![0.0; window.width];
        let mut line = vec![0.0; window.width];
        let mut pixels = Vec::with_capacity(window.width * window.height);
        let reach = AROUND * self.image.psf.fwhm_px;
        for row in window.top..window.bottom() {
            mine.fill(0.0);
            for (star, placed) in &members {
                star.row(self.image, placed, row, window.left, &mut line);
                for (mine, light) in mine.iter_mut().zip(&line) {
                    *mine += light;
                }
            }
            let light = &self.plate.light[row * self.pixels.width + window.left..];
            let values = &self.pixels.row(row)[window.left..];
            for (index, mine) in mine.iter().enumerate() {
                let column = window.left + index;
                let [u, v] = [column as f64 - spot.place[0], row as f64 - spot.place[1]];
                if u * u + v * v < reach * reach && values[index] < spot.full {
                    let value = f64::from(values[index] - light[index] + mine);
                    pixels.push(Pixel { column, row, value });
                }
            }
        }
        (pixels.len() > 2 * MOST).then_some(pixels)
    }

    /// Where most is left.
    fn missing(&self, scene: &Scene<'_>, fitted: &Fitted) -> Point {
        let lines = self.lines(scene, &fitted.stars);
        let mut most = (f64::NEG_INFINITY, [0.0; EACH_HAS]);
        for (pixel, line) in scene.pixels.iter().zip(&lines) {
            let (off, weight) = scene.off(pixel, line, fitted);
            let seen = off * weight.sqrt();
            if seen > most.0 {
                most = (seen, [off, pixel.column as f64, pixel.row as f64]);
            }
        }
        most.1
    }

    /// For each pixel the images of stars of height 1, and their rise to the right
    /// and down.
    fn lines(&self, scene: &Scene<'_>, stars: &[Point]) -> Vec<[f32; STARS * EACH_HAS]> {
        let window = scene.window;
        let mut all = vec![[0.0; STARS * EACH_HAS]; window.width * window.height];
        let mut line = vec![0.0; window.width];
        for (star, [_, x, y]) in stars.iter().enumerate() {
            let placed = self.image.place(*x, *y);
            for (part, want) in [Want::Height, Want::Right, Want::Down]
                .into_iter()
                .enumerate()
            {
                for (row, to) in all.chunks_mut(window.width).enumerate() {
                    let y = window.top + row;
                    self.image.row(&placed, want, y, window.left, &mut line);
                    for (to, value) in to.iter_mut().zip(&line) {
                        to[EACH_HAS * star + part] = *value;
                    }
                }
            }
        }
        let of = |pixel: &Pixel| {
            all[(pixel.row - window.top) * window.width + pixel.column - window.left]
        };
        scene.pixels.iter().map(of).collect()
    }

    /// Moves stars to where they leave least.
    fn improve(&self, scene: &Scene<'_>, stars: Vec<Point>) -> Option<Fitted> {
        let most = STEP * self.image.psf.fwhm_px;
        let count = PLANE + EACH_HAS * stars.len();
        let mut now = Fitted {
            stars,
            level: [0.0; PLANE],
            left: f64::INFINITY,
        };
        let mut best = now.clone();
        let mut best_step = 0;
        for step in 0..=STEPS {
            let lines = self.lines(scene, &now.stars);
            let mut normal = [[0.0; MOST]; MOST];
            let mut right = [0.0; MOST];
            let mut left = 0.0;
            for (pixel, line) in scene.pixels.iter().zip(&lines) {
                let (off, weight) = scene.off(pixel, line, &now);
                left += weight * off * off;
                let mut parts = [0.0; MOST];
                parts[..PLANE].copy_from_slice(&scene.plane(pixel));
                let each = now.stars.iter().zip(line.chunks(EACH_HAS));
                for ((star, line), parts) in each.zip(parts[PLANE..].chunks_mut(EACH_HAS)) {
                    parts[0] = f64::from(line[0]);
                    parts[1] = f64::from(line[1]) * star[0];
                    parts[2] = f64::from(line[2]) * star[0];
                }
                for i in 0..count {
                    let part = parts[i] * weight;
                    right[i] += part * off;
                    for j in i..count {
                        normal[i][j] += part * parts[j];
                    }
                }
            }
            now.left = left / (scene.pixels.len() - count) as f64;
            // Before the first step nothing is known of the level.
            if step > 0 && now.left < best.left {
                let gain = if now.left > HOPELESS {
                    HOPELESS_GAIN
                } else {
                    GAIN
                };
                if now.left < (1.0 - gain) * best.left {
                    best_step = step;
                }
                best = now.clone();
            }
            if step > best_step + IN_VAIN {
                break;
            }
            for (index, row) in normal.iter_mut().enumerate().take(count) {
                row[index] *= 1.0 + 1e-3;
            }
            let change = solve(&mut normal, right, count)?;
            for (level, change) in now.level.iter_mut().zip(&change) {
                *level += change;
            }
            let Window {
                left,
                top,
                width,
                height,
            } = scene.window;
            let changes = change[PLANE..].chunks(EACH_HAS);
            for (star, change) in now.stars.iter_mut().zip(changes) {
                star[0] = (star[0] + change[0]).max(0.02 * (star[0] + scene.sigma));
                let inside = |at: f64, by: f64, from: usize, size: usize| {
                    (at + by.clamp(-most, most)).clamp(from as f64 - 1.0, (from + size) as f64)
                };
                star[1] = inside(star[1], change[1], left, width);
                star[2] = inside(star[2], change[2], top, height);
            }
        }
        best.left.is_finite().then_some(best)
    }
}

impl Scene<'_> {
    fn plane(&self, pixel: &Pixel) -> [f64; PLANE] {
        let off = |at: usize, from: usize| (at - from) as f64;
        [
            1.0,
            off(pixel.column, self.window.left),
            off(pixel.row, self.window.top),
        ]
    }

    /// What is left of a pixel, and how much that counts.
    fn off(&self, pixel: &Pixel, line: &[f32; STARS * EACH_HAS], fitted: &Fitted) -> (f64, f64) {
        let stars = fitted.stars.iter().zip(line.chunks(EACH_HAS));
        let light: f64 = stars.map(|(star, line)| star[0] * f64::from(line[0])).sum();
        let level: f64 = fitted
            .level
            .iter()
            .zip(self.plane(pixel))
            .map(|(share, part)| share * part)
            .sum();
        let wrong = WRONG * light;
        (
            pixel.value - light - level,
            1.0 / (self.sigma * self.sigma + wrong * wrong),
        )
    }
}

/// Puts groups in the place of their members, each spot once. New stars come at the
/// end.
pub(super) fn put(spots: &mut Vec<Spot>, groups: Vec<Group>) {
    let mut taken = vec![false; spots.len()];
    for Group { members, stars } in groups {
        if members.iter().any(|member| taken[*member as usize]) {
            continue;
        }
        let mut stars = stars;
        for member in members {
            taken[member as usize] = true;
            let old = &mut spots[member as usize];
            let apart = |star: &Spot| {
                libm::hypot(star.place[0] - old.place[0], star.place[1] - old.place[1])
            };
            let nearest =
                (0..stars.len()).min_by(|a, b| apart(&stars[*a]).total_cmp(&apart(&stars[*b])));
            if let Some(nearest) = nearest {
                let star = stars.remove(nearest);
                *old = Spot {
                    listed: old.listed,
                    ..star
                };
            }
        }
        spots.extend(stars);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(x: f64, listed: bool) -> Spot {
        Spot {
            listed,
            ..Spot::new([x, 5.0], 10.0, f32::INFINITY)
        }
    }

    /// Members keep their numbers and what the list says of them; no spot is replaced
    /// twice.
    #[test]
    fn groups_take_their_members_places() {
        let mut spots = vec![spot(10.0, true), spot(14.0, true), spot(40.0, true)];
        let stars = |places: &[f64]| places.iter().map(|x| spot(*x, false)).collect();
        let groups = vec![
            Group {
                members: vec![0, 1],
                stars: stars(&[13.0, 9.0, 11.0]),
            },
            Group {
                members: vec![1],
                stars: stars(&[15.0, 16.0]),
            },
            Group {
                members: Vec::new(),
                stars: stars(&[60.0]),
            },
        ];
        put(&mut spots, groups);
        let found: Vec<(f64, bool)> = spots
            .iter()
            .map(|spot| (spot.place[0], spot.listed))
            .collect();
        let expected = [
            (9.0, true),
            (13.0, true),
            (40.0, true),
            (11.0, false),
            (60.0, false),
        ];
        assert_eq!(found, expected);
    }
}
