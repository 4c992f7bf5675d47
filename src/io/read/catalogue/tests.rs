//! Protects catalogues as they come: marks, names, gaps, and what is said of
//! broken ones.

use super::*;

fn go_on(_: usize, _: usize) -> ControlFlow<()> {
    ControlFlow::Continue(())
}

fn good(text: &str) -> Catalogue {
    parse(text.as_bytes(), &go_on).expect("a catalogue")
}

fn bad(text: &str) -> Trouble {
    parse(text.as_bytes(), &go_on).expect_err("refused")
}

#[test]
fn every_mark_and_line_end_gives_the_same_stars() {
    let truth = good("ra,dec,b-v\n10.5,-3.25,0.61\n11.0,-3.5,1.2\n");
    assert_eq!(truth.stars.len(), 2);
    assert_eq!(truth.stars[0].right_ascension_deg, 10.5);
    assert_eq!(truth.stars[0].declination_deg, -3.25);
    assert_eq!(truth.stars[0].b_v, Some(0.61));
    assert_eq!(truth.stars[0].bp_rp, None);
    for text in [
        "\u{feff}RA;Dec;B_V\r\n10.5;-3.25;0.61\r\n\r\n11.0;-3.5;1.2",
        "# our field\n# more\nRAJ2000\tDEJ2000\tname\tbv\n10.5\t-3.25\ta\t0.61\n# gap\n11\t-3.5\t\t1.2\n",
        "  ra_deg   dec_deg  B-V \n 10.5  -3.25   0.61\n   11 -3.5 1.2",
        "\"RA (deg)\",\"name, with comma\",\"Dec (deg)\",\"B-V\"\n\"10.5\",\"a, b\",-3.25,0.61\n11,x,-3.5,1.2\n",
        "RA_ICRS|DE_ICRS|Bmag|Vmag\n10.5|-3.25|9.61|9.00\n11|-3.5|8.2|7.0",
        "ra,dec,b-v\r10.5,-3.25,0.61\r11.0,-3.5,1.2\r",
    ] {
        let found = good(text);
        assert_eq!(found.skipped, 0, "{text}");
        assert_eq!(found.stars.len(), 2, "{text}");
        for (a, b) in found.stars.iter().zip(&truth.stars) {
            assert_eq!(a.right_ascension_deg, b.right_ascension_deg, "{text}");
            assert_eq!(a.declination_deg, b.declination_deg, "{text}");
            let colors = a.b_v.zip(b.b_v).map(|(a, b)| (a - b).abs() < 1e-9);
            assert_eq!(colors, Some(true), "{text}");
        }
    }
}

#[test]
fn colors_are_taken_whole_or_as_differences() {
    let found = good(
        "source_id,ra,dec,phot_bp_mean_mag,phot_rp_mean_mag,bp_rp\n1,05:00:00,+10 30 00,12.5,11.25,\n2,76,10,,,0.8\n",
    );
    assert_eq!(found.stars[0].right_ascension_deg, 75.0);
    assert_eq!(found.stars[0].declination_deg, 10.5);
    assert_eq!(found.stars[0].bp_rp, Some(1.25));
    assert_eq!(found.stars[1].bp_rp, Some(0.8));
}

#[test]
fn rows_with_gaps_are_counted() {
    let found = good("ra,dec,bv\n1,2,\n,2,0.5\n1,,0.5\n1,2,--\n1,2\n1,2,0.5\n");
    assert_eq!((found.stars.len(), found.skipped), (1, 5));
}

#[test]
fn what_is_wrong_is_named_with_its_line_and_column() {
    let trouble = bad("# c\nra,dec,b-v\n1,2,0.5\n1,2,blue\n");
    assert_eq!(trouble.line, Some(4));
    assert_eq!(trouble.column, "b-v");
    assert!(trouble.what.contains("`blue`"));
    let trouble = bad("ra,dec,b-v\n400,2,0.5\n");
    assert_eq!((trouble.line, trouble.column.as_str()), (Some(2), "ra"));
    assert!(bad("ra,dec\n1,2\n").what.contains("a colour"));
    assert!(bad("ra,b-v\n1,2\n").what.contains("declination"));
    assert!(bad("1,2,0.5\n").what.contains("`1`, `2`, `0.5`"));
    assert!(bad("").what.contains("no rows"));
    assert!(bad("# only\n\n").what.contains("no rows"));
    assert!(good("ra,dec,b-v\n").stars.is_empty());
    let error = read(Path::new("/no/such/catalogue.csv"), &go_on).expect_err("missing");
    assert!(error.to_string().contains("catalogue.csv"), "{error}");
    let error = CatalogueError {
        path: PathBuf::from("a.csv"),
        line: Some(4),
        column: "b-v".into(),
        what: "`blue` is no number".into(),
        hint: String::new(),
    };
    assert_eq!(
        error.to_string(),
        "a.csv, line 4, column `b-v`: `blue` is no number"
    );
}

#[test]
fn any_bytes_are_survived() {
    for bytes in [
        &b"\xff\xfe\x00ra\xff,dec\n\xff"[..],
        b"\"",
        b"ra,dec,bv\n\"1,2\n3",
        b",,,\n,,,",
    ] {
        let _ = parse(bytes, &go_on);
    }
}

/// A picture picked by mistake is named, and its header is not poured out.
#[test]
fn what_is_no_text_is_named() {
    let fits = bad("SIMPLE  =                    T / a stack\nBITPIX  =  -32, 16");
    assert!(
        fits.what.contains("FITS file") && fits.what.contains("CSV"),
        "{fits:?}"
    );
    assert!(
        !fits.what.contains("BITPIX") && fits.hint.contains("b-v"),
        "{fits:?}"
    );
    let other = bad("\u{89}PNG\r\n\0\0ra,dec");
    assert!(other.what.contains("no text"), "{other:?}");
}

/// Two million rows take seconds: they are counted, and nobody has to wait.
#[test]
fn long_catalogues_tell_how_far_they_are_and_stop() {
    let mut text = "ra,dec,b-v\n".to_owned();
    for row in 0..20_000 {
        text.push_str(&format!("{},{},0.6\n", row % 360, row % 90));
    }
    let seen = std::cell::RefCell::new(Vec::new());
    let tell = |done, total| {
        seen.borrow_mut().push((done, total));
        ControlFlow::Continue(())
    };
    let read = parse(text.as_bytes(), &tell).expect("a catalogue");
    assert_eq!(read.stars.len(), 20_000);
    let seen = seen.into_inner();
    assert!(seen.len() >= 4 && seen.is_sorted(), "{seen:?}");
    assert!(
        seen.iter()
            .all(|(done, total)| done <= total && *total == text.len())
    );
    let stop = |done: usize, _: usize| match done {
        0 => ControlFlow::Continue(()),
        _ => ControlFlow::Break(()),
    };
    let stopped = parse(text.as_bytes(), &stop).expect_err("stopped");
    assert!(stopped.what.contains("stopped"), "{stopped:?}");
}

/// Protects exports that write units and a line of dashes below their names.
#[test]
fn units_and_dashes_below_the_names_are_no_stars() {
    for text in [
        "ra dec b-v\ndeg deg mag\n-------- ------- ----\n10.5 -3.25 0.61\n",
        "ra,dec,b-v\n--,--,--\n10.5,-3.25,0.61\n",
        "ra\tdec\tname\tb-v\n\"h:m:s\"\t\"d:m:s\"\t \tmag\n---\t---\t---\t---\n00:42:00\t-03:15:00\ta\t0.61\n",
        "RA;Dec;B-V\r\n\r\n[deg];[deg];[mag]\r\n10.5;-3.25;0.61\r\n",
    ] {
        let found = good(text);
        assert_eq!((found.stars.len(), found.skipped), (1, 0), "{text}");
        assert!(
            (found.stars[0].right_ascension_deg - 10.5).abs() < 1e-9,
            "{text}"
        );
        assert_eq!(found.stars[0].declination_deg, -3.25, "{text}");
    }
    // Further down they are told as before, and so are units that are misread.
    let late = bad("ra,dec,b-v\n1,2,0.5\ndeg,deg,mag\n");
    assert_eq!((late.line, late.column.as_str()), (Some(3), "ra"));
    let hours = bad("ra,dec,b-v\nhours,deg,mag\n5.5,2,0.5\n");
    assert!(hours.what.contains("`hours`"), "{hours:?}");
}

/// Protects stars from a quote that is never closed: none of them is lost unsaid.
#[test]
fn an_open_quote_is_told_with_its_line() {
    for (text, line) in [
        (
            "ra,dec,b-v,name\n1,2,0.5,a\n1,3,0.5,\"b\n1,4,0.5,c\n1,5,0.5,d\n",
            3,
        ),
        ("name,ra,dec,b-v\n\"a,1,2,0.5\n\"b\",1,3,0.5\n", 2),
        ("ra,dec,b-v,\"name\n1,2,0.5,a\n", 1),
        ("ra,dec,b-v,name\r1,2,0.5,\"a\r1,3,0.5,b\r", 2),
    ] {
        let trouble = bad(text);
        assert_eq!(trouble.line, Some(line), "{text}: {trouble:?}");
        assert!(trouble.what.contains("quote"), "{trouble:?}");
    }
    // Blank lines and comments count.
    let late = bad("ra,dec,b-v\r\n\r\n# more\r\n1,2,0.5\r\n\r\n# last\r\n1,2,red\r\n");
    assert_eq!(late.line, Some(7), "{late:?}");
    let sound = good("ra,dec,b-v,name\n1,2,0.5,\"a, \"\"the\"\" star\"\n1,3,0.5,b\n");
    assert_eq!(sound.stars.len(), 2);
}
