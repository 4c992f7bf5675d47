//! What flows along the path.
//!
//! Arrays are `(row, column)`; positions are `(x, y)` with x right, y down in
//! file order and the centre of the first pixel at (0, 0). Everything that
//! works on pixels does so on bands of rows, so that memory stays bounded and
//! any number of threads gives the same bits.

use ndarray::{Array2, s};

/// Rows of one band. Pictures are cut into bands of this height from the top;
/// only the last one may be lower. Nothing in the output depends on how many
/// bands are in flight at a time.
pub const BAND_ROWS: usize = 64;

/// Width and height in pixels, both at least 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Size {
    /// Pixels in a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Size {
    /// Pixels in all.
    pub fn pixels(self) -> usize {
        self.width * self.height
    }
}

impl std::fmt::Display for Size {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} x {}", self.width, self.height)
    }
}

/// Why rows could not be had: what and where, then the next step.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{message}")]
pub struct RowsError {
    /// What went wrong, with the file's name.
    pub message: String,
    /// What to do about it; empty where nothing can be said.
    pub hint: String,
}

/// One grey picture that can be read in bands, in any order, from any thread.
///
/// Values are physical values in the file's own units; NaN means no data.
/// Infinities never come out: they are no data too.
pub trait Rows: Send + Sync {
    /// The size of the whole picture.
    fn size(&self) -> Size;

    /// Fills `out` with whole rows from `first_row` on (`out.len()` is a
    /// multiple of the width and does not reach beyond the last row).
    /// Reading from the top down is fast for every source; going back may cost
    /// a new start for those that can only be decoded in order.
    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError>;
}

/// A grey picture in memory, in file units; NaN where there is no data.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane(Array2<f32>);

impl Plane {
    /// Takes an array of (row, column); both must be at least 1 long.
    pub fn new(values: Array2<f32>) -> Self {
        Self(values.as_standard_layout().into_owned())
    }

    /// Reads a whole picture into memory.
    ///
    /// # Errors
    /// Whatever the source meets.
    pub fn from_rows(rows: &dyn Rows) -> Result<Self, RowsError> {
        let size = rows.size();
        let mut values = vec![0.0; size.pixels()];
        for (index, band) in values.chunks_mut(size.width * BAND_ROWS).enumerate() {
            rows.read(index * BAND_ROWS, band)?;
        }
        let values = Array2::from_shape_vec((size.height, size.width), values)
            .expect("the buffer was made to this shape");
        Ok(Self(values))
    }

    /// Takes the values of all pixels, row by row, without copying them; None
    /// where there are not as many as `size` says, or none.
    pub fn from_vec(size: Size, values: Vec<f32>) -> Option<Self> {
        if size.pixels() == 0 {
            return None;
        }
        let values = Array2::from_shape_vec((size.height, size.width), values).ok()?;
        Some(Self(values))
    }

    /// The values, (row, column).
    pub fn values(&self) -> &Array2<f32> {
        &self.0
    }
}

impl Rows for Plane {
    fn size(&self) -> Size {
        let (height, width) = self.0.dim();
        Size { width, height }
    }

    fn read(&self, first_row: usize, out: &mut [f32]) -> Result<(), RowsError> {
        let rows = out.len() / self.size().width;
        let band = self.0.slice(s![first_row..first_row + rows, ..]);
        match band.as_slice() {
            Some(values) => out.copy_from_slice(values),
            None => out.iter_mut().zip(band.iter()).for_each(|(o, v)| *o = *v),
        }
        Ok(())
    }
}

/// Finished code values, interleaved R G B, row by row.
#[derive(Debug, Clone, PartialEq)]
pub enum Coded {
    /// 0..255, encoded by the space's transfer function.
    U8(Vec<u8>),
    /// 0..65535, encoded by the space's transfer function.
    U16(Vec<u16>),
    /// Linear light, not encoded.
    F32(Vec<f32>),
}

/// Finished rows on their way to a file, in order from the top. `rows` is a
/// multiple of [`BAND_ROWS`] except in the last band of a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct CodedBand {
    /// Index of the first row.
    pub first_row: usize,
    /// How many rows.
    pub rows: usize,
    /// `rows * width * 3` samples.
    pub samples: Coded,
}

/// How finished samples are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Depth {
    /// 8-bit integers.
    Eight,
    /// 16-bit integers.
    Sixteen,
    /// 32-bit floats, linear light.
    Float32,
}

impl Depth {
    /// As the command line and the record write it: `8`, `16`, `32f`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Eight => "8",
            Self::Sixteen => "16",
            Self::Float32 => "32f",
        }
    }

    /// Bytes of one sample.
    pub fn bytes(self) -> usize {
        match self {
            Self::Eight => 1,
            Self::Sixteen => 2,
            Self::Float32 => 4,
        }
    }
}

impl std::str::FromStr for Depth {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        [Self::Eight, Self::Sixteen, Self::Float32]
            .into_iter()
            .find(|depth| depth.name() == text)
            .ok_or_else(|| format!("`{text}` is no depth: 8, 16 or 32f"))
    }
}
