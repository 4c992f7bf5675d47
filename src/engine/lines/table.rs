//! The table of lines and broad bands.

use std::sync::OnceLock;

use serde::Deserialize;

/// One line (or close group of lines of one ion), or a broad band.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Line {
    /// What a recipe writes: `Ha`, `OIII`, `L`.
    pub id: String,
    /// In words: "hydrogen-alpha".
    pub name: String,
    /// As a caption prints it: `Hα`, `[O III]`.
    pub symbol: String,
    /// Spectroscopic notation, `O III`; empty for broad bands.
    pub ion: String,
    /// Wavelengths in air in nm, rising; empty for broad bands.
    pub air_nm: Vec<f64>,
    /// Those of them that filters are made for.
    pub made_nm: Vec<f64>,
    /// Centre of a usual filter, nm in air.
    pub center_nm: f64,
    /// Width of a usual filter in nm: broad bands only.
    #[serde(default)]
    pub width_nm: Option<f64>,
    /// Where the wavelengths come from.
    pub source: String,
    /// Ids of lines that usual filters let through as well.
    pub neighbours: Vec<String>,
    /// How filters and files spell it: lower case, no blanks or signs.
    pub spellings: Vec<String>,
    /// Spellings that mean something in a header alone.
    #[serde(default)]
    pub header_only: Vec<String>,
}

impl Line {
    /// Whether it is L, R, G or B rather than an emission line.
    pub fn is_broad(&self) -> bool {
        self.air_nm.is_empty()
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    line: Vec<Line>,
}

/// All lines, emission lines first, in the table's order.
pub fn lines() -> &'static [Line] {
    static LINES: OnceLock<Vec<Line>> = OnceLock::new();
    LINES.get_or_init(|| {
        let table: Table = toml::from_str(include_str!("../../../assets/lines.toml"))
            .expect("a test reads this table at every build");
        table.line
    })
}

/// The line whose id is `id`, in any case.
pub fn line(id: &str) -> Option<&'static Line> {
    lines().iter().find(|line| line.id.eq_ignore_ascii_case(id))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sane() {
        let mut ids: Vec<_> = lines().iter().map(|line| line.id.to_lowercase()).collect();
        ids.sort();
        let count = ids.len();
        ids.dedup();
        assert_eq!(ids.len(), count, "an id stands twice");
        assert_eq!(lines().iter().filter(|line| line.is_broad()).count(), 4);
        for line in lines() {
            assert!(line.air_nm.is_sorted(), "{}", line.id);
            assert_eq!(line.is_broad(), line.width_nm.is_some(), "{}", line.id);
            assert_eq!(line.is_broad(), line.ion.is_empty(), "{}", line.id);
            assert!(!line.name.is_empty() && !line.symbol.is_empty() && !line.source.is_empty());
            for made in &line.made_nm {
                assert!(line.air_nm.contains(made), "{}", line.id);
            }
            if !line.is_broad() {
                let near = |nm: &f64| (nm - line.center_nm).abs() < 1.0;
                assert!(line.made_nm.iter().any(near), "{}", line.id);
            }
            for id in &line.neighbours {
                assert!(super::line(id).is_some(), "{}: {id}", line.id);
            }
        }
    }

    #[test]
    fn no_spelling_stands_for_two_lines() {
        let mut all: Vec<&String> = lines()
            .iter()
            .flat_map(|line| line.spellings.iter().chain(&line.header_only))
            .collect();
        all.sort();
        for pair in all.windows(2) {
            assert_ne!(pair[0], pair[1]);
        }
        for text in all {
            assert!(text.chars().all(|c| c.is_ascii_lowercase()), "{text}");
        }
    }

    /// Rydberg formula with the reduced mass of hydrogen (CODATA R_inf,
    /// electron-proton mass ratio) and the index of standard air (Edlén 1966):
    /// the mean wavelength of a whole Balmer line.
    #[test]
    fn balmer_lines_obey_the_rydberg_formula() {
        for (id, upper) in [("Ha", 3.0), ("Hb", 4.0), ("Hg", 5.0), ("Hd", 6.0f64)] {
            let rydberg = 10_973_731.568 / (1.0 + 1.0 / 1_836.152_673);
            let per_metre = rydberg * (0.25 - 1.0 / (upper * upper));
            let per_um2 = (per_metre * 1e-6) * (per_metre * 1e-6);
            let index = 1.0
                + 1e-8 * (8342.13 + 2_406_030.0 / (130.0 - per_um2) + 15997.0 / (38.9 - per_um2));
            let nm = 1e9 / per_metre / index;
            let table = line(id).unwrap().center_nm;
            assert!((nm - table).abs() < 0.012, "{id}: {nm} against {table}");
        }
    }

    #[test]
    fn ids_are_found_in_any_case() {
        assert_eq!(
            line("oiii").map(|line| line.symbol.as_str()),
            Some("[O III]")
        );
        assert!(line("O3").is_none());
    }
}
