//! White balance of broadband red, green and blue.
//!
//! Three gains multiply the linear light **above each channel's sky**; green's
//! is 1 by convention. The sky itself is no light of the stars: each channel's
//! own level ([`neutral_sky`]) becomes black first, so that the sky turns
//! neutral with any gains.
//!
//! Gains come from the mean of the field's stars ([`by_stars`]), from one star
//! or a patch that shall be neutral ([`by_star`], [`by_patch`]), from a catalogue
//! of star colours ([`by_catalogue`]), or are given ([`Gains::given`]). Stars are
//! measured on a common grid by [`photometry`], whose stars also serve the
//! removal of starlight from narrow channels.

pub mod black_body;

mod error;

mod fit;

mod matching;

mod neutral;

mod patch;

pub mod photometry;

pub(crate) mod robust;

mod sky;

pub mod temperature;

pub use error::{BalanceError, Dim, Missing};
pub use fit::{CatalogueOptions, CatalogueStar, by_catalogue};
pub use neutral::{by_star, by_stars};
pub use patch::{LEAST_SIGNIFICANCE, Patch, by_patch};
pub use photometry::{Field, Flux, Refusal};
pub use sky::{SkyLevel, neutral_sky};

/// Factors of the linear light above the sky: red, green, blue. Green's is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gains {
    /// Factors, each above 0.
    pub rgb: [f64; 3],
    /// Their standard errors (1 sigma), statistical; 0 for green and where the
    /// gains were given.
    pub sigma: [f64; 3],
}

impl Gains {
    /// Gains from elsewhere, brought to a green of 1.
    ///
    /// # Errors
    /// [`BalanceError::BadGains`] where one is not a positive number.
    pub fn given(rgb: [f64; 3]) -> Result<Self, BalanceError> {
        let sound = |gain: f64| gain > 0.0 && gain.is_finite();
        let scaled = rgb.map(|gain| gain / rgb[1]);
        if !rgb.into_iter().chain(scaled).all(sound) {
            return Err(BalanceError::BadGains { rgb });
        }
        Ok(Self {
            rgb: scaled,
            sigma: [0.0; 3],
        })
    }

    /// From natural logarithms of red's and blue's gain and their errors.
    fn from_logs(red: [f64; 2], blue: [f64; 2]) -> Self {
        let (r, b) = (libm::exp(red[0]), libm::exp(blue[0]));
        Self {
            rgb: [r, 1.0, b],
            sigma: [r * red[1], 0.0, b * blue[1]],
        }
    }

    /// Light above the sky, balanced.
    pub fn apply(&self, above_sky: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| self.rgb[i] * above_sky[i])
    }
}

/// Gains and what they rest on.
#[derive(Debug, Clone, PartialEq)]
pub struct Balance {
    /// The gains.
    pub gains: Gains,
    /// Stars that took part; 0 for a patch.
    pub used: usize,
    /// Stars that did not, counted by reason, most frequent first.
    pub refused: Vec<(Refusal, usize)>,
    /// Standard deviation of the stars about the gains, in natural logarithms
    /// of red over green and of blue over green; 0 for a single star or a patch.
    pub scatter: [f64; 2],
    /// How far the catalogue had to be moved to lie on the stars, in px along
    /// the grid of the picture; None without a catalogue.
    pub moved_px: Option<f64>,
}

/// The three channels on one grid with their stars; None where there is none.
#[derive(Clone, Copy)]
pub struct Broadband<'a> {
    /// Red, green, blue.
    pub rgb: [Option<Field<'a>>; 3],
}

impl<'a> Broadband<'a> {
    /// All three.
    ///
    /// # Errors
    /// [`BalanceError::MissingChannel`] names those that are not there,
    /// [`BalanceError::Sizes`] those that do not fit.
    pub fn complete(&self) -> Result<[Field<'a>; 3], BalanceError> {
        let [Some(r), Some(g), Some(b)] = self.rgb else {
            let missing = ["red", "green", "blue"].into_iter().zip(&self.rgb);
            let missing = missing.filter(|(_, channel)| channel.is_none());
            let names = missing.map(|(name, _)| name).collect();
            return Err(BalanceError::MissingChannel(Missing(names)));
        };
        let sizes = [r, g, b].map(|field| field.rows.size());
        if sizes[0] != sizes[1] || sizes[2] != sizes[1] {
            return Err(BalanceError::Sizes { sizes });
        }
        Ok([r, g, b])
    }
}
