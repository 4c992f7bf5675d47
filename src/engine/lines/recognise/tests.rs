use super::*;
use crate::engine::header::{Card, Value};

fn card(keyword: &str, value: Value) -> Card {
    Card {
        keyword: keyword.to_owned(),
        value: Some(value),
        comment: String::new(),
    }
}

fn header(cards: &[(&str, &str)]) -> Header {
    Header {
        cards: cards
            .iter()
            .map(|(keyword, text)| card(keyword, Value::Text((*text).to_owned())))
            .collect(),
        inherited: Vec::new(),
    }
}

fn filter(text: &str) -> Recognition {
    recognise(&header(&[("FILTER", text)]), "stack.fits")
}

fn name(text: &str) -> Recognition {
    recognise(&Header::default(), text)
}

/// The answer in short: `Ha`, `Ha|OIII` or `-`, then centre and width.
fn short(answer: &Recognition) -> String {
    match answer {
        Recognition::Known {
            line,
            center_nm,
            width_nm,
            ..
        } => {
            let center = center_nm.map_or(String::new(), |nm| format!(" @{nm}"));
            let width = width_nm.map_or(String::new(), |nm| format!(" w{nm}"));
            format!("{line}{center}{width}")
        }
        Recognition::Ambiguous { candidates, .. } => candidates.join("|"),
        Recognition::Unknown { .. } => "-".to_owned(),
    }
}

const FILTERS: &[(&str, &str)] = &[
    ("Ha", "Ha"),
    ("HA", "Ha"),
    ("ha", "Ha"),
    ("Hα", "Ha"),
    ("Hα 7nm", "Ha w7"),
    ("H-alpha", "Ha"),
    ("H-alpha 7nm", "Ha w7"),
    ("H-Alpha (7 nm)", "Ha w7"),
    ("H_Alpha", "Ha"),
    ("H alpha", "Ha"),
    ("Halpha", "Ha"),
    ("HALPHA5", "Ha w5"),
    ("Hydrogen-Alpha", "Ha"),
    ("Hydrogen alpha 6.5nm", "Ha w6.5"),
    ("H-alpha 6,5 nm", "Ha w6.5"),
    ("3 nm Ha", "Ha w3"),
    ("Ha3nm", "Ha w3"),
    ("Ha 12nm", "Ha w12"),
    ("Ha 656.3nm 7nm", "Ha @656.3 w7"),
    ("Ha6563", "Ha @656.3"),
    ("Ha 6563 50", "Ha @656.3 w5"),
    ("Ha 3600 120", "Ha"),
    ("Ha 700 nm", "Ha"),
    ("SII 6716/6731", "SII @671.6"),
    ("L-Ha", "Ha"),
    ("Filter 2: Ha 7nm", "Ha w7"),
    ("H_Alpha/2500+60", "Ha"),
    ("ha H-alpha c6009", "Ha"),
    ("ha H-alpha k1009", "Ha"),
    ("Ha.XY7605", "Ha"),
    ("Narrowband Ha", "Ha"),
    ("HII", "-"),
    ("Hb", "Hb"),
    ("H-beta", "Hb"),
    ("HBETA", "Hb"),
    ("Hβ", "Hb"),
    ("Hb486", "Hb"),
    ("Hgamma", "Hg"),
    ("Hγ", "Hg"),
    ("H-delta 5nm", "Hd w5"),
    ("O3", "OIII"),
    ("o3", "OIII"),
    ("OIII", "OIII"),
    ("O III", "OIII"),
    ("O-III", "OIII"),
    ("[OIII]", "OIII"),
    ("[O III]", "OIII"),
    ("[O III] 3 nm", "OIII w3"),
    ("[O III] 5007", "OIII @500.7"),
    ("OIII5007", "OIII @500.7"),
    ("O33nm", "OIII w3"),
    ("O3 8.5nm", "OIII w8.5"),
    ("OⅢ", "OIII"),
    ("Oxygen", "OIII"),
    ("Oxygen III", "OIII"),
    ("Oxygen-3", "OIII"),
    ("OII", "OII"),
    ("O2", "OII"),
    ("[O II] 3727", "OII @372.7"),
    ("OI", "OI"),
    ("O1", "OI"),
    ("[O I]", "OI"),
    ("SII", "SII"),
    ("S2", "SII"),
    ("S-II", "SII"),
    ("S_II", "SII"),
    ("S II", "SII"),
    ("[S II]", "SII"),
    ("sii 4.5nm", "SII w4.5"),
    ("S26.5nm", "SII w6.5"),
    ("SII 6724", "SII @672.4"),
    ("Sulphur", "SII"),
    ("Sulfur", "SII"),
    ("SulphurII", "SII"),
    ("Sulfur-2", "SII"),
    ("SII/2000+63", "SII"),
    ("SI", "-"),
    ("Si", "-"),
    ("SIII", "SIII"),
    ("S3", "SIII"),
    ("[S III] 9069", "SIII @906.9"),
    ("NII", "NII"),
    ("N2", "NII"),
    ("[N II]", "NII"),
    ("N-II 3nm", "NII w3"),
    ("HeI", "HeI"),
    ("HeII", "HeII"),
    ("He II", "HeII"),
    ("He2", "HeII"),
    ("Helium II", "HeII"),
    ("NeIII", "NeIII"),
    ("NeV", "NeV"),
    ("[Ne V]", "NeV"),
    ("ArIII", "ArIII"),
    ("[Ar III]", "ArIII"),
    ("L", "L"),
    ("Lum", "L"),
    ("Luminance", "L"),
    ("Clear", "L"),
    ("UV/IR", "L"),
    ("R", "R"),
    ("Red", "R"),
    ("r'", "R"),
    ("G", "G"),
    ("G'", "G"),
    ("sdss g'", "G"),
    ("gp", "G"),
    ("SG", "G"),
    ("Green", "G"),
    ("V", "G"),
    ("B", "B"),
    ("Blue", "B"),
    ("R Bessell", "R"),
    ("R_SPECIAL", "-"),
    ("g WideCam SDSS c0001 4720.0 1520.0", "G @472 w152"),
    ("F656N", "Ha"),
    ("f658n", "NII"),
    ("F502N", "OIII"),
    ("F673N", "SII"),
    ("F631N", "OI"),
    ("F487N", "Hb"),
    ("F469N", "HeII"),
    ("F373N", "OII"),
    ("F657N", "Ha|NII"),
    ("F680N", "-"),
    ("F187N", "-"),
    ("f547m", "-"),
    ("F606W", "-"),
    ("NB656", "Ha"),
    ("nb_659", "Ha|NII"),
    ("NB816", "-"),
    ("N662 WideCam c0009 6620.0 172.0", "Ha|NII|HeI"),
    ("N501 6nm", "OIII w6"),
    ("N673 c0010 6730.0 60.0", "SII @673 w6"),
    ("656 nm", "Ha"),
    ("500.7nm 3nm", "OIII @500.7 w3"),
    ("700 nm", "-"),
    ("Ha 3nm / OIII", "Ha|OIII"),
    ("HaOIII", "Ha|OIII"),
    ("SIIHb", "Hb|SII"),
    ("Ha+OIII+SII", "Ha|OIII|SII"),
    ("Ha / Red", "Ha|R"),
    ("Ha continuum", "-"),
    ("OIII-cont", "-"),
    ("Filter 3", "-"),
    ("4", "-"),
    ("656", "-"),
    ("Slot 2", "-"),
    ("Open", "-"),
    ("none", "-"),
    ("SHADOW", "-"),
    ("SHARP", "-"),
    ("Alpha", "-"),
    ("L Extra Bright", "-"),
    ("[O] 3 nm", "-"),
    ("K", "-"),
    ("", "-"),
];

const NAMES: &[(&str, &str)] = &[
    ("lantern-ha.fits", "Ha"),
    ("Lantern Shell [O III] 2.fits.fz", "OIII"),
    ("stack_SII_300s.tif", "SII"),
    ("wide-resample-north-f656n.fits", "Ha"),
    ("wide-resample-north-f658n.fits", "NII"),
    ("wide-resample-north-f502n.fits", "OIII"),
    ("wide-resample-north-f673n.fits", "SII"),
    ("wide-resample-north-f547m.fits", "-"),
    ("LS1-140222-Ha.fits", "Ha"),
    ("LS1-140222-R.fits", "R"),
    ("LS1-140222-CS.fits", "-"),
    ("/stacks/ha/oiii/lantern_nii.fits", "NII"),
    ("C:\\ha\\lantern_OIII_7nm.tif", "OIII w7"),
    ("master_light_R_300s.fits", "R"),
    ("master_light_L_bin1.fits", "L"),
    ("ls2_B.tif", "B"),
    ("ls2_V.tif", "-"),
    ("R_Lantern.fits", "-"),
    ("shadow_of_the_lantern.fits", "-"),
    ("sharp.tif", "-"),
    ("aligned_S_2.fits", "-"),
    ("lantern_O_3.tif", "-"),
    ("lantern_O3.tif", "OIII"),
    ("lantern_s2_ha.tif", "Ha|SII"),
    ("HD_4711.fits", "-"),
    ("Sh2-999.fits", "-"),
    ("blue_lantern_ha.fits", "Ha"),
    ("lantern_blue.fits", "B"),
    ("lantern_lum.fit", "L"),
    ("lantern_haoiii.fit", "Ha|OIII"),
    ("lantern_ha_continuum.fits", "-"),
    ("lantern_ha_continuum_subtracted.fits", "Ha"),
    ("lantern_sho.tif", "-"),
    ("lantern-hbeta-3nm.png", "Hb w3"),
    ("Ha2.fits", "Ha"),
    ("3.fits", "-"),
    ("", "-"),
];

#[test]
fn filters_are_read() {
    assert!(FILTERS.len() + NAMES.len() > 150);
    for (text, expected) in FILTERS {
        let answer = filter(text);
        assert_eq!(short(&answer), *expected, "`{text}`: {}", answer.why());
    }
}

#[test]
fn file_names_are_read() {
    for (text, expected) in NAMES {
        let answer = name(text);
        assert_eq!(short(&answer), *expected, "`{text}`: {}", answer.why());
        assert!(answer.why().contains("file's name"), "{}", answer.why());
    }
}

#[test]
fn case_changes_nothing() {
    for (text, expected) in FILTERS {
        assert_eq!(short(&filter(&text.to_uppercase())), *expected, "{text}");
        assert_eq!(short(&filter(&text.to_lowercase())), *expected, "{text}");
    }
}

#[test]
fn wheels_with_clear_slots_are_passed_over() {
    for open in ["CLEAR2L", "Clear", "OPEN", "empty", "N/A", "none"] {
        let both = header(&[("FILTER1", open), ("FILTER2", "Ha 7nm")]);
        assert_eq!(short(&recognise(&both, "stack.fits")), "Ha w7", "{open}");
    }
    let broad = header(&[("FILTER1", "F606W"), ("FILTER2", "CLEAR2L")]);
    assert_eq!(short(&recognise(&broad, "stack.fits")), "-");
    let clear = header(&[("FILTER", "Clear")]);
    assert_eq!(short(&recognise(&clear, "stack.fits")), "L");
    let two = header(&[("FILTER1", "Ha"), ("FILTER2", "OIII")]);
    assert_eq!(short(&recognise(&two, "stack.fits")), "Ha|OIII");
}

#[test]
fn every_usual_keyword_is_heard() {
    for keyword in [
        "FILTER",
        "FILTER1",
        "FILTER2",
        "FILTNAM",
        "FILTNAM1",
        "FILTERID",
        "INSFILTE",
        "BAND",
        "ESO INS FILT1 NAME",
    ] {
        let header = header(&[(keyword, "[S II]")]);
        let answer = recognise(&header, "stack.fits");
        assert_eq!(short(&answer), "SII", "{keyword}");
        assert!(answer.why().contains(keyword), "{}", answer.why());
    }
    let silent = header(&[("OBJECT", "Ha"), ("FILTDATE", "Ha"), ("FILTER", "  ")]);
    assert_eq!(short(&recognise(&silent, "stack.fits")), "-");
    let slot = Header {
        cards: Vec::new(),
        inherited: vec![card("FILTER", Value::Integer(4))],
    };
    let answer = recognise(&slot, "stack.fits");
    assert_eq!(short(&answer), "-");
    assert!(answer.why().contains("slot number"), "{}", answer.why());
}

#[test]
fn the_name_helps_where_the_header_is_not_clear() {
    let slot = header(&[("FILTER", "Filter 3")]);
    let answer = recognise(&slot, "lantern-oiii-3nm.fits");
    assert_eq!(short(&answer), "OIII w3");
    assert!(answer.why().contains("Filter 3") && answer.why().contains("lantern-oiii"));

    let ha = header(&[("FILTER", "Ha")]);
    assert_eq!(short(&recognise(&ha, "lantern-ha-7nm.fits")), "Ha w7");
    let answer = recognise(&ha, "lantern-oiii.fits");
    assert_eq!(short(&answer), "Ha|OIII");
    assert!(answer.why().contains("Hα") && answer.why().contains("[O III]"));

    let dual = header(&[("FILTER", "Ha / OIII")]);
    assert_eq!(short(&recognise(&dual, "lantern-oiii.fits")), "Ha|OIII");
    assert_eq!(short(&recognise(&ha, "ha-and-oiii.fits")), "Ha");
}

#[test]
fn endless_names_are_survived() {
    assert_eq!(short(&filter(&"oi".repeat(200_000))), "-");
    assert_eq!(short(&filter(&"Ha ".repeat(20_000))), "Ha");
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    /// Lines by their parts, free of figures.
    const PARTS: &[(&[&str], &str)] = &[
        (&["h", "alpha"], "Ha"),
        (&["hydrogen", "alpha"], "Ha"),
        (&["h", "beta"], "Hb"),
        (&["o", "iii"], "OIII"),
        (&["oxygen", "iii"], "OIII"),
        (&["o", "ii"], "OII"),
        (&["o", "i"], "OI"),
        (&["s", "ii"], "SII"),
        (&["sulphur", "ii"], "SII"),
        (&["s", "iii"], "SIII"),
        (&["n", "ii"], "NII"),
        (&["he", "ii"], "HeII"),
        (&["ne", "iii"], "NeIII"),
        (&["ar", "iii"], "ArIII"),
    ];

    proptest! {
        #[test]
        fn punctuation_and_case_change_nothing(
            which in 0..PARTS.len(),
            before in r"[\[({ _.'-]{0,3}",
            between in r"[ _.'-]{0,3}",
            after in r"[\])} _.'-]{0,3}",
            upper in prop::collection::vec(any::<bool>(), 16),
        ) {
            let (parts, line) = PARTS[which];
            let text: String = format!("{before}{}{between}{}{after}", parts[0], parts[1])
                .chars()
                .zip(upper.iter().cycle())
                .map(|(c, up)| if *up { c.to_ascii_uppercase() } else { c })
                .collect();
            prop_assert_eq!(short(&filter(&text)), line, "{}", text);
            prop_assert_eq!(short(&name(&format!("{text}.fits"))), line, "{}", text);
        }

        #[test]
        fn any_text_is_survived(filter_text in any::<String>(), file in any::<String>()) {
            let answer = recognise(&header(&[("FILTER", &filter_text)]), &file);
            prop_assert!(!answer.why().is_empty());
        }

        #[test]
        fn stacks_of_letters_and_figures_are_survived(text in "[a-zA-Z0-9 ._/,-]{0,40}") {
            filter(&text);
            name(&text);
        }

        #[test]
        fn a_width_is_read_as_written(tenths in 5u32..299) {
            let width = f64::from(tenths) / 10.0;
            for text in [format!("Ha {width}nm"), format!("[O III] {width:.1} nm")] {
                match filter(&text) {
                    Recognition::Known { width_nm, .. } => {
                        prop_assert_eq!(width_nm, Some(width));
                    }
                    other => prop_assert!(false, "{:?}", other),
                }
            }
        }
    }
}
