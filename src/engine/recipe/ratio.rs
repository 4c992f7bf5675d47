//! Maps of the ratio of two lines, as a recipe asks for them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Recipe;
use super::text::nearest_hint;

/// How far above its sky both lines must stand where nothing is said, sigma.
pub const MIN_SNR: f64 = 3.0;

/// The most pixels that a mean may run over, along each side.
pub const MOST_BIN: u32 = 16;

/// Below this there is no uncertainty to speak of; above, nothing would remain.
const SNR_RANGE: std::ops::RangeInclusive<f64> = 1.0..=1000.0;

/// A map of how strong one line is beside another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ratio {
    /// `a-z 0-9 - _`, unique among the ratios.
    pub id: String,
    /// Id of the channel that is divided.
    pub over: String,
    /// Id of the channel that it is divided by.
    pub under: String,
    /// So many sigma both must stand above their skies, 1..1000.
    #[serde(default = "min_snr")]
    pub min_snr: f64,
    /// Means over so many pixels along each side, 1..16.
    #[serde(default = "bin")]
    pub bin: u32,
    /// The ratios that the scale of a picture begins and ends with; absent:
    /// by the map itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<[f64; 2]>,
    /// How a picture's scale runs.
    #[serde(default)]
    pub scale: Scale,
}

/// How the scale of a picture runs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Scale {
    /// Equal steps are equal differences.
    #[default]
    Linear,
    /// Equal steps are equal factors.
    Log,
}

impl Scale {
    /// As a recipe and the command line write it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Linear => "linear",
            Self::Log => "log",
        }
    }
}

impl std::str::FromStr for Scale {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        [Self::Linear, Self::Log]
            .into_iter()
            .find(|scale| scale.name() == text)
            .ok_or_else(|| "linear or log".to_owned())
    }
}

fn min_snr() -> f64 {
    MIN_SNR
}

fn bin() -> u32 {
    1
}

impl Ratio {
    /// The ratio of two channels with nothing else said.
    pub fn of(id: &str, over: &str, under: &str) -> Self {
        Self {
            id: id.to_owned(),
            over: over.to_owned(),
            under: under.to_owned(),
            min_snr: MIN_SNR,
            bin: 1,
            range: None,
            scale: Scale::Linear,
        }
    }

    /// Whether it holds for a recipe; its id is not looked at.
    ///
    /// # Errors
    /// What is wrong, and the next step.
    pub fn check(&self, recipe: &Recipe) -> Result<(), (String, String)> {
        for (key, id) in [("over", &self.over), ("under", &self.under)] {
            if recipe.channel(id).is_none() {
                let ids = recipe.channels.iter().map(|channel| channel.id.as_str());
                return Err((
                    format!("`{key}` names the channel `{id}`, which is not there"),
                    nearest_hint(id, ids),
                ));
            }
        }
        if self.over == self.under {
            return Err((
                format!("`{}` is divided by itself", self.over),
                "name two channels".to_owned(),
            ));
        }
        if !SNR_RANGE.contains(&self.min_snr) {
            return Err((
                format!("`min_snr = {}` is out of range", self.min_snr),
                "it runs from 1 to 1000 sigma; 3 to 5 are usual".to_owned(),
            ));
        }
        if !(1..=MOST_BIN).contains(&self.bin) {
            return Err((
                format!("`bin = {}` is out of range", self.bin),
                format!("it runs from 1 (every pixel) to {MOST_BIN}"),
            ));
        }
        let Some([low, high]) = self.range else {
            return Ok(());
        };
        if !low.is_finite() || !high.is_finite() || low < 0.0 || low >= high {
            return Err((
                format!("`range = [{low}, {high}]` is no range of ratios"),
                "give the lower ratio first, at least 0, then a higher one".to_owned(),
            ));
        }
        if self.scale == Scale::Log && low == 0.0 {
            return Err((
                format!("`range = [{low}, {high}]` has no logarithm"),
                "begin above 0, or write `scale = \"linear\"`".to_owned(),
            ));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::text::{parse, write};

    const CHANNELS: &str = "recipe = 1\n\
        [[channel]]\nid = \"ha\"\nfile = \"ha.fits\"\nline = \"Ha\"\n\
        stretch = { black = 0.0, white = 1.0 }\n\
        [[channel]]\nid = \"sii\"\nfile = \"sii.fits\"\nline = \"SII\"\n\
        stretch = { black = 0.0, white = 1.0 }\n\
        [[rendition]]\nid = \"mapped\"\ncolors = { ha = \"red\" }\n";

    fn with(ratio: &str) -> String {
        format!("{CHANNELS}[[ratio]]\nid = \"shock\"\n{ratio}\n")
    }

    #[test]
    fn what_is_not_said_is_usual() {
        let recipe = parse(&with("over = \"sii\"\nunder = \"ha\""), "r").expect("sound");
        let ratio = recipe.ratio("shock").expect("there");
        assert_eq!((ratio.min_snr, ratio.bin, ratio.range), (3.0, 1, None));
        let text = write(&recipe).expect("writes");
        assert_eq!(parse(&text, "r").expect("reads"), recipe);
        let without = parse(CHANNELS, "r").expect("sound");
        assert!(!write(&without).expect("writes").contains("ratio"));
    }

    #[test]
    fn what_cannot_be_is_refused_with_the_next_step() {
        let sound = "over = \"sii\"\nunder = \"ha\"\n";
        for (ratio, what, hint) in [
            ("over = \"si\"\nunder = \"ha\"", "`si`", "`sii`"),
            ("over = \"ha\"\nunder = \"ha\"", "by itself", "two"),
            (&format!("{sound}bin = 0"), "`bin = 0`", "16"),
            (&format!("{sound}bin = 17"), "`bin = 17`", "16"),
            (
                &format!("{sound}min_snr = 0.5"),
                "`min_snr = 0.5`",
                "from 1",
            ),
            (
                &format!("{sound}min_snr = nan"),
                "`min_snr = NaN`",
                "from 1",
            ),
            (&format!("{sound}range = [1.0, 0.5]"), "[1, 0.5]", "lower"),
            (
                &format!("{sound}range = [-1.0, 0.5]"),
                "[-1, 0.5]",
                "at least 0",
            ),
            (
                &format!("{sound}range = [0.0, 0.5]\nscale = \"log\""),
                "no logarithm",
                "linear",
            ),
            (&format!("{sound}scale = \"liner\""), "`liner`", "`linear`"),
            (
                &format!("{sound}[[ratio]]\nid = \"shock\"\n{sound}"),
                "twice",
                "its own",
            ),
        ] {
            let error = parse(&with(ratio), "r").expect_err(ratio);
            assert!(error.to_string().contains(what), "{error}");
            assert!(error.hint.contains(hint), "{ratio}: {}", error.hint);
        }
    }
}
