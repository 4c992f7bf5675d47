//! What is known of a picture's stars while they are measured.

use rayon::prelude::*;

use super::below::Below;
use super::beside::neighbours;
use super::fit::{Round, Spot};
use super::image::Image;
use super::light::{Drawn, Plate};
use super::measure::FLOOR;
use super::noise::Noise;
use super::pixels::Pixels;
use super::psf::Psf;
use super::split::{self, Group};
use super::{Report, arms, build, wing};

/// The same for stars that the image is learned from.
const LEARN_FLOOR: f32 = 0.02;

/// Arms, which are thin, end where they fall below this.
const ARMS_FLOOR: f32 = 0.5;

/// Stars nearer to each other than this are one, in widths.
const SAME_WIDTHS: f64 = 0.3;

/// A star that other channels tell of stands out so many times its error.
const SURE: f64 = 1.5;

/// Rounds that learn what reaches far once the stars are known.
const FAR: usize = 2;

/// How often the table is learned once arms are known: more takes nebula in.
const AFRESH: usize = 2;

/// Rounds of learning that begin with the core of a point's image.
const CORE: usize = 2;

/// Changes an image: picture, light of all stars, stars, the chosen ones, noise.
type Improve = fn(&mut Psf, &Pixels<'_>, &[f32], &[Spot], &[u32], &Noise);

/// The stars on the way, the image they share, and their light.
pub(super) struct Field<'a> {
    pixels: Pixels<'a>,
    noise: &'a Noise,
    pub spots: Vec<Spot>,
    pub beside: Vec<Vec<u32>>,
    pub psf: Psf,
    image: Image,
    plate: Plate,
    below: Option<Below>,
}

/// What is known of a picture's stars once they are measured.
#[derive(Debug, Clone)]
pub(super) struct Known {
    pub spots: Vec<Spot>,
    pub psf: Psf,
    pub below: Option<Below>,
}

impl<'a> Field<'a> {
    /// Takes up what was measured before, on the same picture, as it was.
    pub fn again(pixels: Pixels<'a>, noise: &'a Noise, known: Known) -> Self {
        let mut field = Self {
            pixels,
            noise,
            beside: Vec::new(),
            image: Image::new(&known.psf),
            psf: known.psf,
            spots: known.spots,
            plate: Plate::new(pixels.width, pixels.height),
            below: known.below,
        };
        field.beside = field.neighbours();
        field.lay();
        field
    }

    /// Draws all stars on an empty plate: the same bits whatever was drawn before.
    pub fn lay_anew(&mut self) {
        self.plate = Plate::new(self.pixels.width, self.pixels.height);
        self.lay();
    }

    /// Lays the picture aside.
    pub fn known(self) -> Known {
        Known {
            spots: self.spots,
            psf: self.psf,
            below: self.below,
        }
    }

    pub fn new(pixels: Pixels<'a>, noise: &'a Noise, spots: Vec<Spot>, fwhm_px: f64) -> Self {
        let psf = Psf::moffat(fwhm_px, 3.0);
        let mut field = Self {
            pixels,
            noise,
            beside: Vec::new(),
            image: Image::new(&psf),
            psf,
            spots,
            plate: Plate::new(pixels.width, pixels.height),
            below: None,
        };
        field.meet();
        field
    }

    /// How high a star would be at a place where none is known, and the error of
    /// that.
    pub fn height_at(&self, [x, y]: [f64; 2]) -> Option<[f32; 2]> {
        let inside = |at: f64, size: usize| {
            let at = libm::round(at);
            (at >= 0.0 && at < size as f64).then_some(at as usize)
        };
        let place = (
            inside(x, self.pixels.width)?,
            inside(y, self.pixels.height)?,
        );
        let below = self.below.as_ref()?;
        let typical = self.noise.typical;
        below.height_at(&self.pixels, &self.plate.light, place, typical)
    }

    /// Sees which stars lie beside which.
    pub fn meet(&mut self) {
        self.beside = self.neighbours();
        // Two so close are one; what came first stays.
        let close = SAME_WIDTHS * self.psf.fwhm_px;
        for index in 0..self.spots.len() {
            let [x, y] = self.spots[index].place;
            let same = |other: &&u32| {
                let other = &self.spots[**other as usize];
                let [u, v] = [other.place[0] - x, other.place[1] - y];
                other.height > 0.0 && u * u + v * v < close * close
            };
            let first = self.beside[index].iter().find(same);
            if first.is_some_and(|first| (*first as usize) < index) {
                self.spots[index].height = 0.0;
            }
        }
    }

    fn neighbours(&self) -> Vec<Vec<u32>> {
        let far = 4.0 * self.psf.fwhm_px;
        neighbours(&self.spots, far, self.pixels.size())
    }

    fn round(&self) -> Round<'_> {
        Round {
            pixels: self.pixels,
            plate: &self.plate,
            noise: self.noise,
            image: &self.image,
            beside: &self.beside,
            below: self.below.as_ref(),
        }
    }

    /// Measures how what lies below stars is best taken.
    pub fn survey(&mut self) {
        self.below = Some(Below::new(
            &self.pixels,
            &self.plate.light,
            self.noise,
            &self.psf,
        ));
    }

    /// Draws all stars with the image as it is now.
    pub fn draw_anew(&mut self, chosen: &[u32]) {
        let image = Image::new(&self.psf);
        let drawn = self.drawn_far(chosen);
        self.plate.redo(&image, drawn);
        self.image = image;
    }

    /// Fits the chosen stars, and improves the image by what is left of them.
    pub fn learn(&mut self, round: usize, chosen: &[u32], usable: usize) {
        self.draw_anew(chosen);
        let mut spots = std::mem::take(&mut self.spots);
        self.round().fit(&mut spots, chosen);
        self.spots = spots;
        self.plate.lay(&self.image, self.drawn_far(chosen));
        if round < CORE {
            let (light, spots) = (&self.plate.light, &self.spots);
            self.psf = build::core(&self.psf, &self.pixels, light, spots, chosen, self.noise);
            self.normalize();
        } else {
            self.improve(wing::wing, chosen);
            self.learn_table(&chosen[..usable]);
        }
    }

    /// Learns again what reaches far, now that what lies there is known.
    pub fn learn_far(&mut self, chosen: &[u32]) {
        for _ in 0..FAR {
            self.draw_anew(chosen);
            self.improve(wing::wing, chosen);
            self.learn_arms(chosen, &[]);
            self.learn_table(chosen);
        }
        self.learn_table_afresh(chosen);
        self.draw_anew(&[]);
    }

    /// Learns what the image has beside its profile, and makes it 1 high again.
    fn learn_table(&mut self, chosen: &[u32]) {
        self.draw_anew(chosen);
        self.improve(build::table, chosen);
        self.normalize();
    }

    /// Improves the image by what is left of the chosen stars as they are drawn.
    fn improve(&mut self, by: Improve, chosen: &[u32]) {
        let (light, spots) = (&self.plate.light, &self.spots);
        by(
            &mut self.psf,
            &self.pixels,
            light,
            spots,
            chosen,
            self.noise,
        );
    }

    /// Makes the image 1 high, and the stars' light what it was.
    fn normalize(&mut self) {
        let factor = self.psf.normalize();
        for spot in &mut self.spots {
            spot.height *= factor;
            if let Some(hint) = &mut spot.hint {
                (hint.height, hint.error) = (factor * hint.height, factor * hint.error);
            }
        }
    }

    /// Learns the arms, also such as hardly stand out but have a direction that was
    /// `told`, radians.
    fn learn_arms(&mut self, chosen: &[u32], told: &[f64]) {
        self.psf.arms = Vec::new();
        self.draw_anew(chosen);
        let (psf, light, spots) = (&self.psf, &self.plate.light, &self.spots);
        self.psf.arms = arms::arms(psf, &self.pixels, light, spots, chosen, self.noise, told);
    }

    /// Learns arms that other channels have, if there are such.
    pub fn learn_told_arms(&mut self, chosen: &[u32], told: impl Iterator<Item = f64>) {
        let mut told = arms::new_directions(told, &self.psf.arms);
        if !told.is_empty() {
            told.extend(arms::directions(&self.psf.arms));
            self.learn_arms(chosen, &told);
            self.learn_table(chosen);
            self.learn_table_afresh(chosen);
            self.draw_anew(&[]);
        }
    }

    /// Learns the table from nothing once there are arms: as long as they were not
    /// known it took the near part of them in, and gives that back but slowly.
    fn learn_table_afresh(&mut self, chosen: &[u32]) {
        if self.psf.arms.is_empty() {
            return;
        }
        self.psf.clear_table();
        for _ in 0..AFRESH {
            self.draw_anew(chosen);
            self.improve(wing::wing, chosen);
            self.learn_table(chosen);
        }
    }

    /// Fits all stars, and draws them as they are then.
    pub fn fit(&mut self) {
        let all: Vec<u32> = (0..self.spots.len() as u32).collect();
        self.fit_some(&all);
    }

    /// The same for the stars from number `first` on and those beside them.
    pub fn fit_new(&mut self, first: usize) {
        let mut some: Vec<u32> = (first as u32..self.spots.len() as u32).collect();
        for beside in &self.beside[first..] {
            some.extend(beside);
        }
        some.sort_unstable();
        some.dedup();
        self.fit_some(&some);
    }

    fn fit_some(&mut self, some: &[u32]) {
        let there = |index: &u32| self.spots[*index as usize].height > 0.0;
        let some: Vec<u32> = some.iter().copied().filter(there).collect();
        self.lay();
        let mut spots = std::mem::take(&mut self.spots);
        self.round().fit(&mut spots, &some);
        self.spots = spots;
        self.lay();
    }

    pub fn lay(&mut self) {
        self.plate.lay(&self.image, self.drawn(FLOOR));
    }

    /// Takes stars apart that were taken for one.
    pub fn split(&mut self) {
        let known = self.spots.len();
        let groups = self.round().groups(&self.spots);
        self.put(groups);
        self.fit_new(known);
    }

    fn put(&mut self, groups: Vec<Group>) {
        split::put(&mut self.spots, groups);
        self.meet();
    }

    /// Adds stars that are missing: finding stars for alignment leaves the doubtful
    /// ones out.
    pub fn seek(&mut self, full: f32) {
        let found = self.round().seek(full);
        self.put(found);
    }

    /// Leaves out what is no star by its looks; how many those were.
    pub fn leave_out_unlike(&mut self) -> usize {
        let mut spots = std::mem::take(&mut self.spots);
        let (count, groups) = self.round().leave_out_unlike(&mut spots);
        self.spots = spots;
        if !groups.is_empty() {
            self.put(groups);
        }
        self.lay();
        count
    }

    /// The stars as they are drawn, out to `floor` sigma.
    pub fn drawn(&self, floor: f32) -> Vec<Drawn> {
        draw(&self.spots, &self.psf, self.noise, floor)
    }

    /// As [`Field::drawn`], the chosen ones as far as anything can be learned
    /// from them.
    fn drawn_far(&self, chosen: &[u32]) -> Vec<Drawn> {
        let mut drawn = self.drawn(FLOOR);
        for index in chosen {
            let spot = &self.spots[*index as usize..=*index as usize];
            drawn[*index as usize] = draw(spot, &self.psf, self.noise, LEARN_FLOOR)[0];
        }
        drawn
    }

    /// Leaves out what is too faint here. The first `listed` spots are the list's.
    pub fn leave_out_faint(&mut self, listed: usize, least_snr: f64, report: &mut Report) {
        (report.stars, report.saturated, report.found) = (0, 0, 0);
        for (index, spot) in self.spots.iter_mut().enumerate() {
            let sure = match spot.hint {
                Some(hint) if hint.both.is_finite() => spot.height > SURE * hint.both,
                _ => spot.snr >= least_snr,
            };
            if spot.height > 0.0 && sure {
                report.stars += 1;
                report.saturated += usize::from(spot.plateau_px > 0.0);
                report.found += usize::from(index >= listed);
            } else {
                spot.height = 0.0;
            }
        }
        report.faint = (listed + report.found).saturating_sub(report.stars + report.unlike);
    }
}

/// The stars as they are drawn, out to `floor` sigma.
pub(super) fn draw(spots: &[Spot], psf: &Psf, noise: &Noise, floor: f32) -> Vec<Drawn> {
    spots
        .par_iter()
        .map(|spot| {
            let [x, y] = spot.place;
            let height = spot.height as f32;
            let reach = psf.reach_px(height, floor * noise.alone(x as f32, y as f32));
            let shown = (f64::from(spot.full) - spot.background[0]) as f32;
            Drawn {
                x,
                y,
                height,
                arms: psf.arms_reach_px(height, ARMS_FLOOR * noise.at(x as f32, y as f32)),
                reach: if height > 0.0 {
                    reach.max(spot.plateau_px as f32 + 2.0)
                } else {
                    0.0
                },
                shown: height.min(shown.max(0.05 * height)),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two stars may have come so near to each other while they were fitted that
    /// they count as one: what was measured of both stands until both are fitted
    /// again.
    #[test]
    fn taken_up_again_every_star_is_as_it_was() {
        let values: Vec<f32> = (0..64 * 64).map(|index| (index % 7) as f32).collect();
        let pixels = Pixels::new(&values, 64, 64);
        let noise = Noise::new(&pixels).expect("values");
        let spot = |x: f64| Spot {
            listed: true,
            snr: 20.0,
            ..Spot::new([x, 30.0], 50.0, f32::INFINITY)
        };
        let spots = vec![spot(30.0), spot(30.2)];
        let known = Known {
            spots: spots.clone(),
            psf: Psf::moffat(3.0, 3.0),
            below: None,
        };
        let mut field = Field::again(pixels, &noise, known);
        assert_eq!(field.spots, spots);
        field.meet();
        assert_eq!([field.spots[0].height, field.spots[1].height], [50.0, 0.0]);
    }
}
