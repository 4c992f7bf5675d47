//! Which column is what, and a row as a star.

use csv::StringRecord;

use super::angle::{Unit, angle};
use super::{NAMES_HINT, Trouble};
use crate::engine::balance::CatalogueStar;

const RIGHT_ASCENSION: &[&str] = &[
    "ra",
    "raj2000",
    "radeg",
    "raicrs",
    "ra2000",
    "rightascension",
    "alpha",
    "radegrees",
];

const DECLINATION: &[&str] = &[
    "dec",
    "de",
    "dej2000",
    "decj2000",
    "dedeg",
    "decdeg",
    "deicrs",
    "decicrs",
    "dec2000",
    "declination",
    "delta",
    "decdegrees",
];

/// Columns by name; a colour is one column or the difference of two.
pub(super) struct Columns {
    names: Vec<String>,
    right_ascension: usize,
    declination: usize,
    b_v: Vec<Vec<usize>>,
    bp_rp: Vec<Vec<usize>>,
}

/// Small letters and digits of a name: `BP-RP`, `bp_rp` and `bp rp` are one.
fn plain(name: &str) -> String {
    let kept = name.chars().filter(|c| c.is_alphanumeric());
    kept.flat_map(char::to_lowercase).collect()
}

impl Columns {
    pub fn new(record: &StringRecord, line: Option<u64>) -> Result<Self, Trouble> {
        let names: Vec<String> = record.iter().map(str::to_owned).collect();
        let plain: Vec<String> = names.iter().map(|name| plain(name)).collect();
        let find = |known: &[&str]| {
            // The order of the known names decides, not that of the columns.
            let of = |name: &&str| plain.iter().position(|one| one == *name);
            known.iter().find_map(of)
        };
        let missing = |what: &str| Trouble {
            line,
            column: String::new(),
            what: format!("no column for {what} among `{}`", names.join("`, `")),
            hint: NAMES_HINT,
        };
        let color = |whole: &[&str], pairs: [&[&str]; 2]| {
            let mut ways = Vec::new();
            ways.extend(find(whole).map(|column| vec![column]));
            if let (Some(a), Some(b)) = (find(pairs[0]), find(pairs[1])) {
                ways.push(vec![a, b]);
            }
            ways
        };
        let b_v = color(
            &["bv", "bminusv", "colorbv", "bvcolor", "bvmag"],
            [
                &["b", "bmag", "bt", "btmag", "magb"],
                &["v", "vmag", "vt", "vtmag", "magv"],
            ],
        );
        let bp_rp = color(
            &["bprp", "bpminusrp", "gaiabprp"],
            [
                &["bp", "bpmag", "gbp", "gbpmag", "photbpmeanmag"],
                &["rp", "rpmag", "grp", "grpmag", "photrpmeanmag"],
            ],
        );
        if b_v.is_empty() && bp_rp.is_empty() {
            return Err(missing("a colour"));
        }
        Ok(Self {
            right_ascension: find(RIGHT_ASCENSION).ok_or_else(|| missing("right ascension"))?,
            declination: find(DECLINATION).ok_or_else(|| missing("declination"))?,
            b_v,
            bp_rp,
            names,
        })
    }

    /// None where the row has no place or no colour.
    pub fn star(
        &self,
        record: &StringRecord,
        line: Option<u64>,
    ) -> Result<Option<CatalogueStar>, Trouble> {
        let wrong = |column: usize, what: String| Trouble {
            line,
            column: self.names[column].clone(),
            what,
            hint: "write a number with a point, or leave the cell empty",
        };
        let cell = |column: usize| {
            let text = record.get(column).unwrap_or("");
            let empty = ["", "-", "--", "nan", "null", "none", "n/a"];
            (!empty.contains(&text.to_ascii_lowercase().as_str())).then_some(text)
        };
        let place = |column: usize, unit: Unit| match cell(column) {
            None => Ok(None),
            Some(text) => angle(text, unit)
                .map(Some)
                .map_err(|why| wrong(column, format!("`{text}` {why}"))),
        };
        let number = |column: usize| match cell(column) {
            None => Ok(None),
            Some(text) => match text.parse::<f64>() {
                Ok(value) if value.is_finite() => Ok(Some(value)),
                _ => Err(wrong(column, format!("`{text}` is no number"))),
            },
        };
        let color = |ways: &[Vec<usize>]| -> Result<Option<f64>, Trouble> {
            for way in ways {
                let mut parts = Vec::with_capacity(2);
                for column in way {
                    parts.push(number(*column)?);
                }
                match parts.as_slice() {
                    [Some(color)] => return Ok(Some(*color)),
                    [Some(blue), Some(red)] => return Ok(Some(blue - red)),
                    _ => {}
                }
            }
            Ok(None)
        };
        let right_ascension = place(self.right_ascension, Unit::RightAscension)?;
        let declination = place(self.declination, Unit::Declination)?;
        let (b_v, bp_rp) = (color(&self.b_v)?, color(&self.bp_rp)?);
        let (Some(right_ascension_deg), Some(declination_deg)) = (right_ascension, declination)
        else {
            return Ok(None);
        };
        Ok((b_v.is_some() || bp_rp.is_some()).then_some(CatalogueStar {
            right_ascension_deg,
            declination_deg,
            b_v,
            bp_rp,
        }))
    }
}
