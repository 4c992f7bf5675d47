//! Where the pictures of a sheet lie, and what stands under them.

use super::page::{Page, title};
use crate::engine::frame::Size;
use crate::engine::recipe::Recipe;
use crate::io::draw::font::{width, wrapped};
use crate::io::draw::{Picture, Placed, Scene, Shape, on_one_line};
use crate::work::Error;
use crate::work::key::facts::Line;
use crate::work::key::looks::Looks;

/// A palette on the data.
pub struct Tile {
    /// The palette's name.
    pub name: String,
    /// What it makes.
    pub picture: Picture,
    /// Its lines with their colours.
    pub lines: Vec<Line>,
}

/// The narrowest picture that still shows something, pixels.
const NARROWEST: f64 = 60.0;
/// Lines of text that a reason may take.
const REASON_LINES: usize = 2;

/// Measures of a sheet, pixels.
pub struct Sheet {
    page: Page,
    columns: usize,
    gap: f64,
    tile: [f64; 2],
}

impl Sheet {
    /// Measures for `count` pictures of a size, in `columns` or as many as make
    /// the sheet a little wider than high.
    ///
    /// # Errors
    /// Where the pictures would be too narrow.
    pub fn new(
        wanted: usize,
        columns: Option<usize>,
        count: usize,
        picture: Size,
        looks: Looks,
    ) -> Result<Self, Error> {
        if (picture.width as f64) < NARROWEST {
            return Err(Error::request(
                format!(
                    "a field of {picture} pixels is too small for a sheet, whose pictures are {NARROWEST} \
                     pixels wide at least"
                ),
                "take larger stacks, or crop less of them in the recipe",
            ));
        }
        let flatness = picture.height as f64 / picture.width as f64;
        let columns = columns.unwrap_or_else(|| {
            let wide = (count as f64 * flatness * 4.0 / 3.0).sqrt().ceil();
            if count <= 3 && flatness <= 1.2 {
                count
            } else {
                (wide as usize).clamp(1, 8)
            }
        });
        let columns = columns.min(count).max(1);
        let measures = |width: f64| {
            let page = Page::new(width, looks);
            let room = width - 2.0 * page.margin - page.letters * (columns - 1) as f64;
            (page, (room / columns as f64).floor())
        };
        let (mut page, mut across) = measures(wanted as f64);
        if across > picture.width as f64 {
            // Nothing is enlarged: the sheet of a small picture is narrower.
            (page, _) = measures(wanted as f64 * picture.width as f64 / across);
            across = picture.width as f64;
        }
        if across < NARROWEST {
            return Err(Error::request(
                format!("{columns} pictures in a row of {wanted} pixels are too narrow"),
                "ask for fewer --columns or a larger --width",
            ));
        }
        let gap = page.letters;
        let down = (across * flatness).round().max(1.0);
        Ok(Self {
            page,
            columns,
            gap,
            tile: [across, down],
        })
    }

    /// The longer side of a picture.
    pub fn long_edge(&self) -> usize {
        self.tile[0].max(self.tile[1]) as usize
    }

    /// Lays everything out; all pictures have the size `small`.
    pub fn scene(
        mut self,
        recipe: &Recipe,
        small: Size,
        tiles: Vec<Tile>,
        left_out: &[(String, String)],
    ) -> Scene {
        let (across, down) = (small.width as f64, small.height as f64);
        let strip = across + self.gap;
        let all = strip * self.columns as f64 - self.gap;
        let wanted = self.page.width;
        self.page.width = (all + 2.0 * self.page.margin).max(24.0 * self.page.letters);
        // A few pixels that were lost to whole ones are given back.
        if (0.0..self.columns as f64 + 1.0).contains(&(wanted - self.page.width)) {
            self.page.width = wanted;
        }
        let page = self.page;
        let mut shapes = Vec::new();
        let mut pictures = Vec::new();
        let count = tiles.len();
        let many = if count == 1 { "palette" } else { "palettes" };
        let top = page.head(recipe, &format!("{count} {many} on this data"), &mut shapes);
        let words = 3.1 * page.letters;
        let row_height = down + words + self.gap;
        let mut about = Vec::new();
        for (index, tile) in tiles.into_iter().enumerate() {
            let (row, column) = (index / self.columns, index % self.columns);
            let x = (page.margin + column as f64 * strip).round();
            let y = (top + row as f64 * row_height).round();
            shapes.extend(under(&page, &tile, [x, y + down], across));
            about.push(on_one_line(&tile.name));
            pictures.push(Placed {
                at: [x as usize, y as usize],
                picture: tile.picture,
            });
        }
        let rows = count.div_ceil(self.columns);
        let mut y = top + rows as f64 * row_height - 0.4 * self.gap;
        y = reasons(&page, left_out, y, &mut shapes);
        y = page.foot(recipe, y, &mut shapes) + page.margin;
        Scene {
            size: [page.width.round(), y.round()],
            title: match title(recipe) {
                title if title.is_empty() => "Palettes".to_owned(),
                title => format!("{title}: palettes"),
            },
            about: format!("The same data in these palettes: {}.", about.join(", ")),
            ground: Some(page.looks.ground),
            pictures,
            shapes,
        }
    }
}

// The name, and a dot for each line.
fn under(page: &Page, tile: &Tile, [x, y]: [f64; 2], across: f64) -> Vec<Shape> {
    let letters = page.letters;
    let name = on_one_line(&tile.name);
    let base = y + 1.35 * letters;
    let mut shapes = vec![Shape::Words(page.bold(&name, [x, base], letters, across))];
    let (size, radius) = (0.86 * letters, 0.34 * letters);
    let step = |line: &Line| 3.1 * radius + width(&line.symbol, size, false) + letters;
    let whole: f64 = tile.lines.iter().map(step).sum::<f64>() - letters;
    // Where there is no room for names, the dots alone tell.
    let named = whole <= across;
    let base = base + 1.35 * letters;
    let mut at = x + 1.2 * radius;
    for line in &tile.lines {
        if at + radius > x + across {
            break;
        }
        let dot = page
            .looks
            .dot([at, base - 0.3 * size], radius, line.linear_srgb);
        shapes.extend(dot);
        if named {
            let left = at + 1.9 * radius;
            let words = page.faint(&line.symbol, [left, base], size, across);
            shapes.push(Shape::Words(words));
            at += step(line);
        } else {
            at += 3.2 * radius;
        }
    }
    shapes
}

// The palettes that do not fit; gives where they end.
fn reasons(page: &Page, left_out: &[(String, String)], mut y: f64, shapes: &mut Vec<Shape>) -> f64 {
    if left_out.is_empty() {
        return y;
    }
    let size = 0.9 * page.letters;
    let whole = page.width - 2.0 * page.margin;
    y += 1.2 * page.letters;
    let heading = page.bold("Without a picture", [page.margin, y], size, whole);
    shapes.push(Shape::Words(heading));
    for (names, reason) in by_reason(left_out) {
        let text = on_one_line(&format!("{}: {reason}", names.join(", ")));
        for line in wrapped(&text, size, false, whole, REASON_LINES) {
            y += 1.45 * size;
            let words = page.faint(&line, [page.margin, y], size, whole);
            shapes.push(Shape::Words(words));
        }
    }
    y + 0.4 * page.letters
}

// Palettes that share a reason share a line.
fn by_reason(left_out: &[(String, String)]) -> Vec<(Vec<&str>, &str)> {
    let mut groups: Vec<(Vec<&str>, &str)> = Vec::new();
    for (name, reason) in left_out {
        let reason = reason.strip_prefix(&format!("{name}: ")).unwrap_or(reason);
        match groups.iter_mut().find(|(_, other)| *other == reason) {
            Some((names, _)) => names.push(name),
            None => groups.push((vec![name], reason)),
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::recipe::text::parse;

    const RECIPE: &str = r#"recipe = 1
        [[channel]]
        id = "ha"
        file = "f"
        line = "Ha"
        stretch = { black = 0, white = 1 }
        [[rendition]]
        id = "red"
        colors = { ha = "natural" }"#;

    #[test]
    fn palettes_with_one_reason_stand_together() {
        let pair = |name: &str, reason: &str| (name.to_owned(), reason.to_owned());
        let left_out = [
            pair("SHO", "no channel holds [S II]"),
            pair("own", "own: odd"),
            pair("SOO", "no channel holds [S II]"),
        ];
        let groups = by_reason(&left_out);
        assert_eq!(groups[0], (vec!["SHO", "SOO"], "no channel holds [S II]"));
        assert_eq!(groups[1], (vec!["own"], "odd"));
    }

    #[test]
    fn margins_are_the_same_on_both_sides() {
        let size = Size {
            width: 864,
            height: 576,
        };
        for (count, wanted) in [(1, 2400), (1, 900), (2, 2400), (6, 1203), (16, 2400)] {
            let sheet = Sheet::new(wanted, None, count, size, Looks::of(false)).expect("room");
            let small = crate::work::targets::fitted(size, Some(sheet.long_edge()));
            let margin = sheet.page.margin;
            let columns = sheet.columns as f64;
            let all = columns * small.width as f64 + (columns - 1.0) * sheet.gap;
            let recipe = parse(RECIPE, "test").expect("sound");
            let scene = sheet.scene(&recipe, small, tiles(count, small), &[]);
            let right = scene.size[0] - margin - all;
            assert!(
                right >= margin && right < margin + columns + 2.0,
                "{count} in {wanted}: {margin} left, {right} right"
            );
        }
    }

    fn tiles(count: usize, size: Size) -> Vec<Tile> {
        let tile = || Tile {
            name: "SHO".to_owned(),
            picture: Picture {
                size: [size.width, size.height],
                rgb: vec![0; 3 * size.pixels()],
            },
            lines: Vec::new(),
        };
        std::iter::repeat_with(tile).take(count).collect()
    }
}
