use super::*;
use crate::engine::header::{Card, Value};

type Cards = &'static [(&'static str, f64)];

// Source positions and where astropy 8.0.2 (astropy.wcs, all_pix2world and then
// all_world2pix with a tolerance of 1e-10, both with origin 0) puts them.
struct Case {
    name: &'static str,
    source: (&'static str, Cards),
    reference: (&'static str, Cards),
    ends: [([f64; 2], [f64; 2]); 5],
}

const SIZE: Size = Size {
    width: 1000,
    height: 800,
};

const CASES: [Case; 9] = [
    Case {
        name: "cd_turned",
        source: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.03),
                ("CRVAL2", 17.02),
                ("CRPIX1", 480.0),
                ("CRPIX2", 390.0),
                ("CD1_1", -0.000187580836),
                ("CD1_2", -0.000114949684),
                ("CD2_1", -0.000114949684),
                ("CD2_2", 0.000187580836),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-316.278_280_831, 410.573_764_425]),
            ([999.0, 0.0], [620.600_760_776, -163.742_703_495]),
            ([0.0, 799.0], [143.061_031_037, 1_159.889_872_172]),
            ([999.0, 799.0], [1_079.939_102_461, 585.571_589_571]),
            ([333.25, 611.50], [347.796_337_396, 792.465_786_441]),
        ],
    },
    Case {
        name: "mirrored",
        source: (
            "RA---TAN",
            &[
                ("CRVAL1", 92.98),
                ("CRVAL2", 16.99),
                ("CRPIX1", 520.0),
                ("CRPIX2", 410.0),
                ("CD1_1", -0.000153208889),
                ("CD1_2", 0.000128557522),
                ("CD2_1", -0.000128557522),
                ("CD2_2", -0.000153208889),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [460.892_682_664, 996.909_783_444]),
            ([999.0, 0.0], [1_226.237_098_812, 354.843_326_525]),
            ([0.0, 799.0], [-52.631_784_942, 384.788_166_568]),
            ([999.0, 799.0], [712.711_799_768, -257.278_930_895]),
            ([333.25, 611.50], [323.182_028_730, 314.250_892_678]),
        ],
    },
    Case {
        name: "crota",
        source: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.01),
                ("CRVAL2", 17.01),
                ("CRPIX1", 470.5),
                ("CRPIX2", 401.25),
                ("CDELT1", -0.00025),
                ("CDELT2", 0.00024),
                ("CROTA2", -12.5),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-16.850_846_691, -145.912_775_280]),
            ([999.0, 0.0], [1_202.312_116_286, 124.304_110_834]),
            ([0.0, 799.0], [-224.325_839_792, 790.170_623_326]),
            ([999.0, 799.0], [994.838_079_051, 1_060.387_185_449]),
            ([333.25, 611.50], [231.055_139_313, 660.641_241_437]),
        ],
    },
    Case {
        name: "pc_sin",
        source: (
            "RA---SIN",
            &[
                ("CRVAL1", 93.01),
                ("CRVAL2", 17.01),
                ("CRPIX1", 470.5),
                ("CRPIX2", 401.25),
                ("CDELT1", -0.00025),
                ("CDELT2", 0.00024),
                ("PC1_1", 0.9),
                ("PC1_2", -0.3),
                ("PC2_1", 0.35),
                ("PC2_2", 0.95),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [74.058_955_733, -203.456_655_443]),
            ([999.0, 0.0], [1_197.959_004_363, 216.067_397_538]),
            ([0.0, 799.0], [-225.520_874_918, 707.421_801_132]),
            ([999.0, 799.0], [898.379_981_268, 1_126.946_284_808]),
            ([333.25, 611.50], [219.696_490_510, 633.613_243_502]),
        ],
    },
    Case {
        name: "arc",
        source: (
            "RA---ARC",
            &[
                ("CRVAL1", 93.05),
                ("CRVAL2", 17.04),
                ("CRPIX1", 470.5),
                ("CRPIX2", 401.25),
                ("CD1_1", -8.2084834e-05),
                ("CD1_2", -0.000225526229),
                ("CD2_1", -0.000225526229),
                ("CD2_2", 8.2084834e-05),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-382.964_360_381, 965.347_954_607]),
            ([999.0, 0.0], [26.765_224_177, -161.264_206_638]),
            ([0.0, 799.0], [518.101_437_567, 1_293.047_092_928]),
            ([999.0, 799.0], [927.827_037_662, 166.435_820_320]),
            ([333.25, 611.50], [443.328_137_072, 840.326_122_563]),
        ],
    },
    Case {
        name: "sip",
        source: (
            "RA---TAN-SIP",
            &[
                ("CRVAL1", 93.01),
                ("CRVAL2", 17.02),
                ("CRPIX1", 490.0),
                ("CRPIX2", 380.0),
                ("CD1_1", -0.000207956294),
                ("CD1_2", -2.9226351e-05),
                ("CD2_1", -2.9226351e-05),
                ("CD2_2", 0.000207956294),
                ("A_ORDER", 3.0),
                ("B_ORDER", 2.0),
                ("A_2_0", 2.1e-06),
                ("A_1_1", -3.5e-06),
                ("A_0_2", 1.2e-06),
                ("A_3_0", 4e-09),
                ("A_0_3", -2.2e-09),
                ("A_1_2", 1.1e-09),
                ("B_2_0", -1.5e-06),
                ("B_1_1", 2.9e-06),
                ("B_0_2", -4.2e-06),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-112.140_978_726, 177.028_239_336]),
            ([999.0, 0.0], [929.053_644_244, 29.446_341_533]),
            ([0.0, 799.0], [5.624_943_020, 1_006.325_273_778]),
            ([999.0, 799.0], [1_044.291_453_002, 861.552_573_024]),
            ([333.25, 611.50], [324.377_214_678, 764.106_171_437]),
        ],
    },
    Case {
        name: "sip_both",
        source: (
            "RA---TAN-SIP",
            &[
                ("CRVAL1", 93.01),
                ("CRVAL2", 17.02),
                ("CRPIX1", 490.0),
                ("CRPIX2", 380.0),
                ("CD1_1", 0.000207956294),
                ("CD1_2", 2.9226351e-05),
                ("CD2_1", 2.9226351e-05),
                ("CD2_2", -0.000207956294),
                ("A_ORDER", 3.0),
                ("B_ORDER", 2.0),
                ("A_2_0", 2.1e-06),
                ("A_1_1", -3.5e-06),
                ("A_0_2", 1.2e-06),
                ("A_3_0", 4e-09),
                ("A_0_3", -2.2e-09),
                ("A_1_2", 1.1e-09),
                ("B_2_0", -1.5e-06),
                ("B_1_1", 2.9e-06),
                ("B_0_2", -4.2e-06),
            ],
        ),
        reference: (
            "RA---TAN-SIP",
            &[
                ("CRVAL1", 93.0),
                ("CRVAL2", 17.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
                ("A_ORDER", 3.0),
                ("B_ORDER", 2.0),
                ("A_2_0", -2.1e-06),
                ("A_1_1", 3.5e-06),
                ("A_0_2", -1.2e-06),
                ("A_3_0", -4e-09),
                ("A_0_3", 2.2e-09),
                ("A_1_2", -1.1e-09),
                ("B_2_0", 1.5e-06),
                ("B_1_1", -2.9e-06),
                ("B_0_2", 4.2e-06),
            ],
        ),
        ends: [
            ([0.0, 0.0], [1_017.020_277_430, 822.457_128_856]),
            ([999.0, 0.0], [-23.833_998_458, 967.927_880_477]),
            ([0.0, 799.0], [900.340_375_577, -7.733_954_792]),
            ([999.0, 799.0], [-140.615_225_465, 138.032_810_801]),
            ([333.25, 611.50], [580.108_510_874, 235.735_373_273]),
        ],
    },
    Case {
        name: "pole",
        source: (
            "RA---TAN",
            &[
                ("CRVAL1", 200.0),
                ("CRVAL2", 89.97),
                ("CRPIX1", 480.0),
                ("CRPIX2", 390.0),
                ("CD1_1", -0.000187580836),
                ("CD1_2", -0.000114949684),
                ("CD2_1", -0.000114949684),
                ("CD2_2", 0.000187580836),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 0.0),
                ("CRVAL2", 90.0),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-214.184_221_396, 405.028_350_664]),
            ([999.0, 0.0], [469.897_313_523, -454.980_833_422]),
            ([0.0, 799.0], [473.650_294_364, 952.155_776_282]),
            ([999.0, 799.0], [1_157.731_614_154, 92.148_344_279]),
            ([333.25, 611.50], [540.435_638_075, 536.878_131_038]),
        ],
    },
    Case {
        name: "ra_zero",
        source: (
            "RA---TAN",
            &[
                ("CRVAL1", 359.99),
                ("CRVAL2", -60.0),
                ("CRPIX1", 480.0),
                ("CRPIX2", 390.0),
                ("CD1_1", -0.000219162834),
                ("CD1_2", -1.9174263e-05),
                ("CD2_1", -1.9174263e-05),
                ("CD2_2", 0.000219162834),
                ("LONPOLE", 170.0),
            ],
        ),
        reference: (
            "RA---TAN",
            &[
                ("CRVAL1", 0.02),
                ("CRVAL2", -60.01),
                ("CRPIX1", 501.0),
                ("CRPIX2", 401.0),
                ("CD1_1", -0.0002),
                ("CD1_2", -0.0),
                ("CD2_1", -0.0),
                ("CD2_2", 0.0002),
            ],
        ),
        ends: [
            ([0.0, 0.0], [-44.820_114_819, 173.316_302_701]),
            ([999.0, 0.0], [1_016.506_347_979, -111.581_488_376]),
            ([0.0, 799.0], [183.040_482_624, 1_022.165_123_139]),
            ([999.0, 799.0], [1_244.367_896_565, 737.267_801_464]),
            ([333.25, 611.50], [483.609_925_579, 727.930_017_040]),
        ],
    },
];

fn header((projection, cards): (&str, &[(&str, f64)])) -> Header {
    let card = |keyword: &str, value: Value| Card {
        keyword: keyword.to_owned(),
        value: Some(value),
        comment: String::new(),
    };
    let mut all = vec![
        card("CTYPE1", Value::Text(projection.to_owned())),
        card("CTYPE2", Value::Text(projection.replace("RA--", "DEC-"))),
    ];
    all.extend(
        cards
            .iter()
            .map(|(keyword, value)| card(keyword, Value::Real(*value))),
    );
    Header {
        cards: all,
        inherited: Vec::new(),
    }
}

fn with(mut header: Header, keyword: &str, value: Value) -> Header {
    header.cards.push(Card {
        keyword: keyword.to_owned(),
        value: Some(value),
        comment: String::new(),
    });
    header
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    ((a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])).sqrt()
}

#[test]
fn grids_agree_with_astropy() {
    for case in CASES {
        let (source, reference) = (header(case.source), header(case.reference));
        let from = Grid::read(&source).expect("understood");
        let to = Grid::read(&reference).expect("understood");
        let (transform, farthest) = between(&source, SIZE, &reference, SIZE).expect("fits");
        let mut exact = 0.0_f64;
        for (position, end) in case.ends {
            let sky = from.direction(position).expect("on the sky");
            let found = to.pixel(sky).expect("on the grid");
            exact = exact.max(distance(found, end));
            let back = from.pixel(to.direction(end).expect("sky")).expect("grid");
            assert!(distance(back, position) < 1e-6, "{}", case.name);
            let fitted = distance(transform.to_reference.apply(position), end);
            assert!(
                fitted <= farthest + 1e-6,
                "{}: {fitted} {farthest}",
                case.name
            );
            if is_inside(end, SIZE, 0.0) {
                let back = distance(transform.to_source.apply(end), position);
                assert!(back <= farthest + 1e-6, "{}: {back} {farthest}", case.name);
            }
        }
        eprintln!("{}: exact {exact:.1e}, fitted {farthest:.1e} px", case.name);
        assert!(exact < 1e-6, "{}: {exact}", case.name);
        assert!(farthest < 0.02, "{}: {farthest}", case.name);
    }
}

#[test]
fn a_moved_reference_pixel_is_an_exact_shift() {
    let base = header(CASES[0].reference);
    let moved = with(base.clone(), "CRPIX1", Value::Real(494.0));
    let (transform, farthest) = between(&base, SIZE, &moved, SIZE).expect("fits");
    assert!(farthest < 1e-8, "{farthest}");
    let [x, y] = transform.to_reference.apply([700.0, 20.0]);
    assert!((x - 693.0).abs() < 1e-8 && (y - 20.0).abs() < 1e-8);
    assert_eq!(transform.to_reference.matrix[2], [0.0, 0.0, 1.0]);
}

#[test]
fn what_cannot_be_followed_is_said() {
    let base = header(CASES[0].reference);
    let refusal = |source: &Header| {
        let error = between(source, SIZE, &base, SIZE).expect_err("refused");
        assert!(!error.hint.is_empty());
        error.message
    };
    let text = |keyword: &str, text: &str| {
        refusal(&with(base.clone(), keyword, Value::Text(text.to_owned())))
    };
    let number =
        |keyword: &str, value: f64| refusal(&with(base.clone(), keyword, Value::Real(value)));
    assert!(refusal(&Header::default()).contains("no sky coordinates"));
    assert!(text("CTYPE1", "GLON-TAN").contains("GLON-TAN"));
    assert!(text("CTYPE1", "RA---TPV").contains("RA---TPV"));
    assert!(text("CTYPE2", "DEC--SIN").contains("different projections"));
    assert!(text("CUNIT1", "rad").contains("CUNIT1"));
    assert!(text("RADESYS", "FK4").contains("FK4"));
    assert!(number("EQUINOX", 1950.0).contains("FK4"));
    assert!(number("EQUINOX", 2015.5).contains("2015.5"));
    assert!(number("CD1_1", 0.0).contains("no inverse"));
    assert!(number("CRVAL2", 91.0).contains("CRVAL2"));
    assert!(number("A_ORDER", 3.0).contains("A_ORDER"));
    assert!(number("A_ORDER", 1e9).contains("A_ORDER"));
    assert!(number("CRVAL1", 95.0).contains("different parts"));
    assert!(number("CRVAL1", 273.0).contains("different parts"));
    // Equinox 2000 and ICRS are one.
    let same = with(base.clone(), "EQUINOX", Value::Real(2000.0));
    assert!(between(&same, SIZE, &base, SIZE).is_ok());
    // A distortion that folds the picture.
    let mut folded = header(CASES[5].source);
    folded = with(folded, "A_2_0", Value::Real(0.01));
    let folded_reference = between(&base, SIZE, &folded, SIZE);
    assert!(folded_reference.is_err() || folded_reference.is_ok_and(|(_, off)| off > 0.1));
}

#[test]
fn wild_values_never_panic() {
    let wild = [0.0, -1e300, 1e300, 1e-300, 1e9, f64::MAX, 90.0, -90.0];
    for keyword in [
        "CRPIX1", "CRVAL1", "CRVAL2", "CD1_1", "CD2_2", "LONPOLE", "A_2_0", "B_0_3", "A_ORDER",
    ] {
        for value in wild {
            let source = with(header(CASES[5].source), keyword, Value::Real(value));
            for (a, b) in [(0, 5), (5, 0)] {
                let other = [&source, &header(CASES[0].reference)];
                let pair = if a < b { other } else { [other[1], other[0]] };
                if let Ok((transform, off)) = between(pair[0], SIZE, pair[1], SIZE) {
                    assert!(off.is_finite());
                    assert!(
                        transform
                            .to_source
                            .matrix
                            .iter()
                            .flatten()
                            .all(|v| v.is_finite())
                    );
                }
            }
        }
    }
}
