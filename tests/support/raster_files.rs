//! Small TIFF and PNG files, put together in memory.

use proptest::prelude::*;

/// A TIFF put together by hand from its tags; the values of `chunks` tags are
/// filled in when the data are placed.
pub struct Made {
    pub big_endian: bool,
    pub big: bool,
    pub tags: Vec<(u16, Vec<u64>)>,
    pub chunks: Vec<Vec<u8>>,
}

impl Made {
    fn put(&self, out: &mut Vec<u8>, bytes: usize, value: u64) {
        if self.big_endian {
            out.extend(&value.to_be_bytes()[8 - bytes..]);
        } else {
            out.extend(&value.to_le_bytes()[..bytes]);
        }
    }

    /// Header, data, then the directory with long values after it.
    pub fn bytes(&self, tiled: bool) -> Vec<u8> {
        let wide = if self.big { 8 } else { 4 };
        let mut out = if self.big_endian {
            b"MM".to_vec()
        } else {
            b"II".to_vec()
        };
        self.put(&mut out, 2, if self.big { 43 } else { 42 });
        if self.big {
            self.put(&mut out, 2, 8);
            self.put(&mut out, 2, 0);
        }
        let data: usize = self.chunks.iter().map(Vec::len).sum();
        let directory = out.len() + wide + data;
        self.put(&mut out, wide, directory as u64);
        let mut offsets = Vec::new();
        for chunk in &self.chunks {
            offsets.push(out.len() as u64);
            out.extend(chunk);
        }
        let lengths = self.chunks.iter().map(|chunk| chunk.len() as u64).collect();
        let mut tags = self.tags.clone();
        tags.push((if tiled { 324 } else { 273 }, offsets));
        tags.push((if tiled { 325 } else { 279 }, lengths));
        tags.sort();
        let count_bytes = if self.big { 8 } else { 2 };
        self.put(&mut out, count_bytes, tags.len() as u64);
        let mut after = directory + count_bytes + tags.len() * (4 + 2 * wide) + wide;
        let mut long_values = Vec::new();
        for (tag, values) in &tags {
            self.put(&mut out, 2, u64::from(*tag));
            self.put(&mut out, 2, 4);
            self.put(&mut out, wide, values.len() as u64);
            let mut field = Vec::new();
            values
                .iter()
                .for_each(|value| self.put(&mut field, 4, *value));
            if field.len() <= wide {
                field.resize(wide, 0);
                out.extend(field);
            } else {
                self.put(&mut out, wide, after as u64);
                after += field.len();
                long_values.extend(field);
            }
        }
        self.put(&mut out, wide, 0);
        out.extend(long_values);
        out
    }
}

/// The shape of a random picture of 16-bit samples.
#[derive(Debug, Clone)]
pub struct Shape {
    pub width: usize,
    pub height: usize,
    pub samples: usize,
    pub planar: bool,
    /// Width and height of tiles, or rows of strips.
    pub tile: Option<(usize, usize)>,
    pub rows: usize,
    pub deflate: bool,
    pub big_endian: bool,
    pub big: bool,
    pub seed: u64,
}

pub fn shapes() -> impl Strategy<Value = Shape> {
    let tile = prop::option::of((1..24_usize, 1..24_usize));
    let flags = any::<(bool, bool, bool, bool)>();
    (
        1..50_usize,
        1..50_usize,
        1..5_usize,
        tile,
        1..60_usize,
        flags,
        any::<u64>(),
    )
        .prop_map(
            |(width, height, samples, tile, rows, (planar, deflate, big_endian, big), seed)| {
                Shape {
                    width,
                    height,
                    samples,
                    planar,
                    tile,
                    rows,
                    deflate,
                    big_endian,
                    big,
                    seed,
                }
            },
        )
}

impl Shape {
    pub fn value(&self, sample: usize, row: usize, column: usize) -> u16 {
        let place = ((sample * 64 + row) * 64 + column) as u64 + self.seed;
        (place.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48) as u16
    }

    pub fn file(&self) -> Vec<u8> {
        let (tile_width, tile_rows) = self
            .tile
            .unwrap_or((self.width, self.rows.min(self.height)));
        let groups: Vec<Vec<usize>> = if self.planar {
            (0..self.samples).map(|sample| vec![sample]).collect()
        } else {
            vec![(0..self.samples).collect()]
        };
        let mut chunks = Vec::new();
        for group in &groups {
            for top in (0..self.height).step_by(tile_rows) {
                for left in (0..self.width).step_by(tile_width) {
                    let mut chunk = Vec::new();
                    let rows = match self.tile {
                        Some(_) => tile_rows,
                        None => tile_rows.min(self.height - top),
                    };
                    for row in top..top + rows {
                        for column in left..left + tile_width {
                            for sample in group {
                                let value = self.value(*sample, row, column);
                                chunk.extend(if self.big_endian {
                                    value.to_be_bytes()
                                } else {
                                    value.to_le_bytes()
                                });
                            }
                        }
                    }
                    chunks.push(if self.deflate {
                        deflated(&chunk)
                    } else {
                        chunk
                    });
                }
            }
        }
        let mut tags = vec![
            (256, vec![self.width as u64]),
            (257, vec![self.height as u64]),
            (258, vec![16; self.samples]),
            (259, vec![if self.deflate { 8 } else { 1 }]),
            (262, vec![1]),
            (277, vec![self.samples as u64]),
            (284, vec![if self.planar { 2 } else { 1 }]),
        ];
        match self.tile {
            Some((width, rows)) => {
                tags.extend([(322, vec![width as u64]), (323, vec![rows as u64])])
            }
            None => tags.push((278, vec![self.rows as u64])),
        }
        Made {
            big_endian: self.big_endian,
            big: self.big,
            tags,
            chunks,
        }
        .bytes(self.tile.is_some())
    }
}

pub fn deflated(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write as _;
    let mut encoder = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).expect("room in memory");
    encoder.finish().expect("room in memory")
}

pub fn png_value(sample: usize, row: usize, column: usize) -> u16 {
    (sample * 9001 + row * 523 + column * 37) as u16
}

pub fn png_file(width: u32, height: u32, samples: usize, wide: bool) -> Vec<u8> {
    let color = [
        png::ColorType::Grayscale,
        png::ColorType::GrayscaleAlpha,
        png::ColorType::Rgb,
        png::ColorType::Rgba,
    ][samples - 1];
    let mut data = Vec::new();
    for row in 0..height as usize {
        for column in 0..width as usize {
            for sample in 0..samples {
                let value = png_value(sample, row, column);
                if wide {
                    data.extend(value.to_be_bytes());
                } else {
                    data.push(value as u8);
                }
            }
        }
    }
    png_of(
        width,
        height,
        color,
        if wide {
            png::BitDepth::Sixteen
        } else {
            png::BitDepth::Eight
        },
        &data,
    )
}

pub fn png_of(
    width: u32,
    height: u32,
    color: png::ColorType,
    depth: png::BitDepth,
    data: &[u8],
) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(color);
    encoder.set_depth(depth);
    if color == png::ColorType::Indexed {
        encoder.set_palette(vec![0, 0, 0, 255, 255, 255]);
    }
    encoder
        .add_text_chunk("Title".to_owned(), "Lantern Shell".to_owned())
        .expect("a short text");
    encoder
        .add_text_chunk("Description".to_owned(), "FILTER = 'SII'\nfaint".to_owned())
        .expect("a short text");
    let mut writer = encoder.write_header().expect("room");
    writer.write_image_data(data).expect("room");
    writer.finish().expect("room");
    bytes
}

/// A file of these bytes that lives as long as the value.
pub fn file(bytes: &[u8]) -> tempfile::NamedTempFile {
    let file = tempfile::NamedTempFile::new().expect("a temporary file");
    std::fs::write(file.path(), bytes).expect("room for it");
    file
}
