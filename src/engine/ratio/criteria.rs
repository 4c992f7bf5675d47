//! What is published on ratios of lines that images can hold.

/// What is said of a ratio, and what stands against taking it at its word.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Criterion {
    /// Id of the line that is divided.
    pub over: &'static str,
    /// Id of the line that it is divided by.
    pub under: &'static str,
    /// The published threshold, where there is one.
    pub mark: Option<f64>,
    /// What a higher ratio, or one above the mark, is read as.
    pub reading: &'static str,
    /// Where that is published.
    pub source: &'static str,
    /// What stands against it beside what is true of every map.
    pub caveats: &'static [&'static str],
}

static CRITERIA: [Criterion; 5] = [
    Criterion {
        over: "SII",
        under: "Ha",
        mark: Some(0.4),
        reading: "the classic optical criterion for shock-heated gas, as in remnants of \
                  supernovae; gas that starlight ionises usually has 0.1 to 0.3",
        source: "Mathewson & Clarke 1973, ApJ 180, 725",
        caveats: &[
            "faint diffuse gas lies above it without shocks as well (Haffner et al. 2009, Rev. \
             Mod. Phys. 81, 969), and at low surface brightness it does not decide",
            "it is meant for both lines at 671.6 and 673.1 nm over Hα without [N II]",
        ],
    },
    Criterion {
        over: "OIII",
        under: "Ha",
        mark: None,
        reading: "higher where gas is more highly excited: near hot stars, or hotter itself; there \
                  is no threshold",
        source: "Baldwin, Phillips & Terlevich 1981, PASP 93, 5, for [O III]/Hβ",
        caveats: &["dust dims [O III] more than Hα and lowers it"],
    },
    Criterion {
        over: "OIII",
        under: "Hb",
        mark: None,
        reading: "higher where gas is more highly excited: near hot stars, or hotter itself; there \
                  is no threshold",
        source: "Baldwin, Phillips & Terlevich 1981, PASP 93, 5",
        caveats: &[],
    },
    Criterion {
        over: "SII",
        under: "OIII",
        mark: None,
        reading: "lower where starlight ionises gas more strongly; a rim of high ratios about a \
                  low inside says that the light is used up there",
        source: "Pellegrini et al. 2012, ApJ 755, 40",
        caveats: &["dust dims [O III] more than [S II] and raises it"],
    },
    Criterion {
        over: "Ha",
        under: "Hb",
        mark: Some(2.86),
        reading: "what hydrogen at 10 000 K emits (case B); dust on the way raises it",
        source: "Osterbrock & Ferland 2006, Astrophysics of Gaseous Nebulae",
        caveats: &["only a calibrated ratio measures dust"],
    },
];

/// What is published on the ratio of two lines of the line table.
pub fn criterion(over: &str, under: &str) -> Option<&'static Criterion> {
    CRITERIA.iter().find(|criterion| {
        criterion.over.eq_ignore_ascii_case(over) && criterion.under.eq_ignore_ascii_case(under)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::lines::line;

    #[test]
    fn every_criterion_is_of_lines_that_there_are() {
        for criterion in &CRITERIA {
            assert!(line(criterion.over).is_some_and(|line| !line.is_broad()));
            assert!(line(criterion.under).is_some_and(|line| !line.is_broad()));
            assert!(criterion.mark.is_none_or(|mark| mark > 0.0));
            assert!(!criterion.source.is_empty());
        }
        let shock = criterion("sii", "ha").expect("there");
        assert_eq!(shock.mark, Some(0.4));
        assert_eq!(criterion("Ha", "SII"), None);
    }
}
