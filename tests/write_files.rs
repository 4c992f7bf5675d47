//! Finished files, read back by independent readers.

use std::fs;
use std::path::Path;

use linehue::engine::color::space::Space;
use linehue::engine::frame::{BAND_ROWS, Coded, CodedBand, Depth, Size};
use linehue::engine::header::{Card, Header, Value};
use linehue::io::write::pixels::PixelHash;
use linehue::io::write::xmp::{self, Description, Spatial};
use linehue::io::write::{
    Format, Options, Packing, Tags, Target, WriteError, Writer, Written, format_of, icc,
};
use proptest::prelude::*;
use tiff::tags::Tag;

const SIZE: Size = Size {
    width: 37,
    height: 200,
};

/// A gradient with a little noise, one value for each sample of the picture.
fn wave(index: usize) -> u32 {
    let (pixel, color) = (index / 3, index % 3);
    let (x, y) = (pixel % SIZE.width, pixel / SIZE.width);
    let noise = (index as u32).wrapping_mul(2_654_435_761) >> 26;
    [x * 1700 + y, y * 320, (x + y) * 270][color] as u32 % 65_000 + noise
}

/// Samples from `first` on.
fn samples(depth: Depth, range: std::ops::Range<usize>) -> Coded {
    let waves = range.map(wave);
    match depth {
        Depth::Eight => Coded::U8(waves.map(|v| (v >> 8) as u8).collect()),
        Depth::Sixteen => Coded::U16(waves.map(|v| v as u16).collect()),
        Depth::Float32 => Coded::F32(waves.map(|v| v as f32 / 60_000.0 - 0.01).collect()),
    }
}

fn bands(depth: Depth, heights: &[usize]) -> Vec<CodedBand> {
    let mut first_row = 0;
    let row = SIZE.width * 3;
    heights
        .iter()
        .map(|rows| {
            let samples = samples(depth, first_row * row..(first_row + rows) * row);
            let band = CodedBand {
                first_row,
                rows: *rows,
                samples,
            };
            first_row += rows;
            band
        })
        .collect()
}

fn tags() -> Tags {
    let text = |keyword: &str, text: &str| Card {
        keyword: keyword.to_owned(),
        value: Some(Value::Text(text.to_owned())),
        comment: String::new(),
    };
    let real = |keyword: &str, value: f64| Card {
        keyword: keyword.to_owned(),
        value: Some(Value::Real(value)),
        comment: String::new(),
    };
    let whole = |keyword: &str, value: i64| Card {
        keyword: keyword.to_owned(),
        value: Some(Value::Integer(value)),
        comment: String::new(),
    };
    let reference = Header {
        cards: vec![
            whole("NAXIS1", 37),
            text("OBJECT", "Lantern Shell"),
            text("CTYPE1", "RA---TAN-SIP"),
            text("CTYPE2", "DEC--TAN-SIP"),
            real("CRVAL1", 83.633_212_345_678_9),
            real("CRVAL2", -5.25),
            real("CRPIX1", 18.5),
            real("CRPIX2", 100.5),
            real("CD1_1", -2.7e-4),
            real("CD1_2", 1e-6),
            real("CD2_1", 1.1e-6),
            real("CD2_2", 2.7e-4),
            real("CDELT1", 5.0),
            whole("A_ORDER", 2),
            real("A_0_2", 1.5e-7),
            whole("B_ORDER", 2),
            real("B_2_0", -3e-8),
        ],
        inherited: vec![text("INSTRUME", "Wick camera"), real("EQUINOX", 2000.0)],
    };
    let description = Description {
        title: "Lantern Shell".to_owned(),
        spatial: Some(Spatial {
            fits_header: "CTYPE1  = 'RA---TAN'".to_owned(),
            ..Spatial::default()
        }),
        ..Description::default()
    };
    Tags {
        xmp: xmp::packet(&description),
        description: "Lantern Shell, Hα in red".to_owned(),
        software: "Linehue 0.1.0".to_owned(),
        reference,
        history: vec!["ha: asinh, black 0.0021, white 0.93, amount 80; ".repeat(3)],
    }
}

fn target(path: &Path, depth: Depth, space: Space, packing: Packing) -> Target {
    Target {
        path: path.to_owned(),
        format: format_of(path).expect("a known ending"),
        size: SIZE,
        depth,
        space,
        options: Options {
            packing,
            ..Options::default()
        },
        tags: tags(),
    }
}

fn write(target: Target, heights: &[usize]) -> Written {
    let depth = target.depth;
    let mut writer = Writer::create(target).expect("created");
    for band in bands(depth, heights) {
        writer.put(band).expect("taken");
    }
    writer.finish().expect("finished")
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let name = |entry: fs::DirEntry| entry.file_name().to_string_lossy().into_owned();
    let mut names: Vec<_> = entries
        .map(|entry| name(entry.expect("an entry")))
        .collect();
    names.sort();
    names
}

fn whole(depth: Depth) -> Coded {
    samples(depth, 0..SIZE.pixels() * 3)
}

/// Every kind of file that can be.
fn kinds() -> Vec<(&'static str, Depth, Packing)> {
    let mut kinds = vec![
        ("a.png", Depth::Eight, Packing::None),
        ("a.png", Depth::Sixteen, Packing::None),
        ("a.jpg", Depth::Eight, Packing::None),
        ("a.fits", Depth::Float32, Packing::None),
    ];
    for depth in [Depth::Eight, Depth::Sixteen, Depth::Float32] {
        for packing in [Packing::None, Packing::Fast, Packing::Small] {
            kinds.push(("a.tif", depth, packing));
        }
    }
    kinds
}

#[test]
fn tiff_reads_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.tif");
    for (_, depth, packing) in kinds().into_iter().filter(|(name, ..)| *name == "a.tif") {
        write(
            target(&path, depth, Space::DisplayP3, packing),
            &[64, 128, 8],
        );
        let file = fs::File::open(&path).expect("opened");
        let mut decoder = tiff::decoder::Decoder::new(file).expect("a TIFF");
        let image = decoder.read_image().expect("decoded");
        match (image, whole(depth)) {
            (tiff::decoder::DecodingResult::U8(a), Coded::U8(b)) => assert_eq!(a, b),
            (tiff::decoder::DecodingResult::U16(a), Coded::U16(b)) => assert_eq!(a, b),
            (tiff::decoder::DecodingResult::F32(a), Coded::F32(b)) => assert_eq!(a, b),
            _ => panic!("another depth"),
        }
        let profile = decoder.get_tag_u8_vec(Tag::IccProfile).expect("a profile");
        assert_eq!(
            profile,
            icc::profile(Space::DisplayP3, depth == Depth::Float32)
        );
        let packet = decoder.get_tag_u8_vec(Tag::Unknown(700)).expect("a packet");
        assert_eq!(packet, tags().xmp.as_bytes());
        let text = |decoder: &mut tiff::decoder::Decoder<_>, tag| {
            decoder.get_tag_ascii_string(tag).expect("a text")
        };
        assert_eq!(text(&mut decoder, Tag::Software), "Linehue 0.1.0");
        assert_eq!(
            text(&mut decoder, Tag::ImageDescription),
            "Lantern Shell, H? in red"
        );
        let rows = decoder.get_tag_u32(Tag::RowsPerStrip).expect("rows");
        assert_eq!(
            (rows as usize, decoder.strip_count().expect("strips")),
            (BAND_ROWS, 4)
        );
    }
}

#[test]
fn png_reads_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.png");
    for depth in [Depth::Eight, Depth::Sixteen] {
        write(
            target(&path, depth, Space::Rec2020, Packing::None),
            &[128, 64, 8],
        );
        let file = std::io::BufReader::new(fs::File::open(&path).expect("opened"));
        let mut reader = png::Decoder::new(file).read_info().expect("a PNG");
        let mut bytes = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut bytes).expect("decoded");
        reader.finish().expect("whole");
        let expected = match whole(depth) {
            Coded::U16(samples) => samples.iter().flat_map(|v| v.to_be_bytes()).collect(),
            Coded::U8(samples) => samples,
            Coded::F32(_) => panic!("another depth"),
        };
        assert_eq!(bytes, expected);
        let info = reader.info();
        let profile = info.icc_profile.as_deref().expect("a profile");
        assert_eq!(profile, icc::profile(Space::Rec2020, false));
        let points = info.coding_independent_code_points.expect("code points");
        // ITU-T H.273: BT.2020 primaries are 9, its 10-bit transfer is 14.
        assert_eq!((points.color_primaries, points.transfer_function), (9, 14));
        assert_eq!(
            (points.matrix_coefficients, points.is_video_full_range_image),
            (0, true)
        );
        let [text] = &info.utf8_text[..] else {
            panic!("one text")
        };
        assert_eq!(text.keyword, "XML:com.adobe.xmp");
        assert_eq!(text.get_text().expect("a text"), tags().xmp);
    }
}

/// The segments of a JPEG before its scan: marker and content.
fn segments(bytes: &[u8]) -> Vec<(u8, &[u8])> {
    let mut segments = Vec::new();
    let mut at = 2;
    while bytes[at + 1] != 0xda {
        let length = usize::from(bytes[at + 2]) << 8 | usize::from(bytes[at + 3]);
        segments.push((bytes[at + 1], &bytes[at + 4..at + 2 + length]));
        at += 2 + length;
    }
    segments
}

#[test]
fn jpeg_carries_tags_and_profile() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.jpg");
    let head = b"http://ns.adobe.com/xap/1.0/\0";
    write(
        target(&path, Depth::Eight, Space::Srgb, Packing::None),
        &[192, 8],
    );
    let bytes = fs::read(&path).expect("read");
    let found = segments(&bytes);
    let app = |marker| found.iter().find(|s| s.0 == marker).expect("a segment").1;
    assert_eq!(app(0xe1), [&head[..], tags().xmp.as_bytes()].concat());
    let profile = icc::profile(Space::Srgb, false);
    assert_eq!(app(0xe2), [b"ICC_PROFILE\0\x01\x01", profile].concat());
    // Start of frame: 8 bits, the size, three components each sampled 1 x 1.
    let frame = app(0xc0);
    assert_eq!(
        frame[..6],
        [8, 0, SIZE.height as u8, 0, SIZE.width as u8, 3]
    );
    assert_eq!([frame[7], frame[10], frame[13]], [0x11; 3]);
    assert_eq!(bytes[bytes.len() - 2..], [0xff, 0xd9]);

    // A packet that is too long loses its FITS header first.
    let mut long = target(&path, Depth::Eight, Space::Srgb, Packing::None);
    let spatial = Spatial {
        fits_header: "CARD\n".repeat(20_000),
        ..Spatial::default()
    };
    let mut description = Description {
        title: "Lantern Shell".to_owned(),
        spatial: Some(spatial),
        ..Description::default()
    };
    long.tags.xmp = xmp::packet(&description);
    write(long, &[192, 8]);
    description.spatial = Some(Spatial::default());
    let bytes = fs::read(&path).expect("read");
    let found = segments(&bytes);
    let packet = found.iter().find(|s| s.0 == 0xe1).expect("a packet").1;
    assert_eq!(packet[head.len()..], *xmp::packet(&description).as_bytes());
}

#[test]
fn fits_reads_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.fits");
    write(
        target(&path, Depth::Float32, Space::Srgb, Packing::None),
        &[64, 64, 72],
    );
    assert_eq!(fs::metadata(&path).expect("there").len() % 2880, 0);
    let mut file = fitsio::FitsFile::open(&path).expect("a FITS file");
    let hdu = file.primary_hdu().expect("an array");
    let planes: Vec<f32> = hdu.read_image(&mut file).expect("pixels");
    let Coded::F32(samples) = whole(Depth::Float32) else {
        panic!("another depth")
    };
    let pixels = SIZE.pixels();
    for (index, sample) in samples.iter().enumerate() {
        assert_eq!(planes[index % 3 * pixels + index / 3], *sample);
    }
    for (keyword, value) in [
        ("CRVAL1", 83.633_212_345_678_9),
        ("CD1_1", -2.7e-4),
        ("CD3_3", 1.0),
        ("A_0_2", 1.5e-7),
        ("EQUINOX", 2000.0),
    ] {
        assert_eq!(
            hdu.read_key::<f64>(&mut file, keyword).expect(keyword),
            value
        );
    }
    for (keyword, value) in [
        ("OBJECT", "Lantern Shell"),
        ("INSTRUME", "Wick camera"),
        ("CREATOR", "Linehue 0.1.0"),
        ("CTYPE3", "RGB"),
    ] {
        assert_eq!(
            hdu.read_key::<String>(&mut file, keyword).expect(keyword),
            value
        );
    }
    assert!(
        hdu.read_key::<f64>(&mut file, "CDELT1").is_err(),
        "CDELT beside CD"
    );
    let bytes = fs::read(&path).expect("read");
    let cards: Vec<_> = bytes.chunks(80).take(72).collect();
    let begins = |text: &str| {
        cards
            .iter()
            .filter(|card| card.starts_with(text.as_bytes()))
            .count()
    };
    assert_eq!(
        begins("HISTORY "),
        3,
        "144 characters in lines of at most 70"
    );
    assert_eq!(begins("DATE    ") + begins("CHECKSUM"), 0);
}

#[test]
fn the_hashes_are_those_of_file_and_pixels() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, depth, packing) in kinds() {
        let path = folder.path().join(name);
        let written = write(target(&path, depth, Space::Srgb, packing), &[64, 64, 64, 8]);
        let bytes = fs::read(&path).expect("read");
        let mut hash = PixelHash::new();
        hash.update(&Coded::U8(bytes.clone()));
        assert_eq!(
            (written.bytes, written.sha256),
            (bytes.len() as u64, hash.finish()),
            "{name}"
        );
        let mut hash = PixelHash::new();
        hash.update(&whole(depth));
        assert_eq!(written.pixels_sha256, hash.finish(), "{name}");
        assert_eq!(
            names(folder.path())
                .iter()
                .filter(|n| n.starts_with('.'))
                .count(),
            0
        );
    }
}

#[test]
fn any_number_of_threads_gives_the_same_file() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, depth, packing) in kinds() {
        let path = folder.path().join(name);
        let run = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
            pool.expect("a pool")
                .install(|| write(target(&path, depth, Space::Srgb, packing), &[200]))
        };
        let one = run(1);
        assert_eq!((run(3), run(1)), (one.clone(), one), "{name}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// However rows are divided among calls, the file has the same bytes.
    #[test]
    fn any_division_of_rows_gives_the_same_file(cuts in prop::collection::vec(any::<bool>(), 3),
                                                kind in 0..13_usize) {
        let (name, depth, packing) = kinds()[kind];
        let mut heights = vec![64];
        for (cut, rows) in cuts.into_iter().zip([64, 64, 8]) {
            match heights.last_mut() {
                Some(last) if !cut => *last += rows,
                _ => heights.push(rows),
            }
        }
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(name);
        let expected = write(target(&path, depth, Space::Srgb, packing), &[64, 64, 64, 8]);
        let found = write(target(&path, depth, Space::Srgb, packing), &heights);
        prop_assert_eq!(found, expected);
    }
}

#[test]
fn an_unfinished_writer_leaves_nothing() {
    for (name, depth, packing) in kinds() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(name);
        fs::write(&path, b"old").expect("written");
        let mut writer =
            Writer::create(target(&path, depth, Space::Srgb, packing)).expect("created");
        let first = bands(depth, &[64]).remove(0);
        writer.put(first.clone()).expect("taken");
        let error = writer.finish().expect_err("rows are missing");
        assert!(error.to_string().contains("only 64 of 200 rows"), "{error}");
        assert_eq!(names(folder.path()), [name]);

        let mut writer =
            Writer::create(target(&path, depth, Space::Srgb, packing)).expect("created");
        writer.put(first).expect("taken");
        assert_eq!(names(folder.path()).len(), 2, "a draft beside the old file");
        drop(writer);
        assert_eq!(names(folder.path()), [name]);
        assert_eq!(fs::read(&path).expect("read"), b"old");
    }
}

#[test]
fn wrong_rows_are_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.tif");
    let depth = Depth::Sixteen;
    let good = bands(depth, &[64, 64, 72]);
    let mut late = good[1].clone();
    late.first_row = 128;
    let ragged = bands(depth, &[63]).remove(0);
    let other = bands(Depth::Eight, &[64]).remove(0);
    let mut short = good[0].clone();
    short.samples = samples(depth, 0..12);
    for band in [late, ragged, other, short] {
        let mut writer =
            Writer::create(target(&path, depth, Space::Srgb, Packing::None)).expect("created");
        let error = writer.put(band).expect_err("wrong rows");
        assert!(matches!(error, WriteError::Rows { .. }), "{error}");
        writer
            .put(good[0].clone())
            .expect_err("no more after an error");
        writer.finish().expect_err("nothing to finish");
        assert!(names(folder.path()).is_empty());
    }
}

#[test]
fn a_place_that_is_none_is_refused_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("missing/a.fits");
    let target = target(&path, Depth::Float32, Space::Srgb, Packing::None);
    assert_eq!(target.format, Format::Fits);
    for error in [
        target.check().expect_err("no folder"),
        Writer::create(target).err().expect("no folder"),
    ] {
        assert!(error.to_string().contains("does not exist"), "{error}");
        assert!(error.hint().contains("make the folder"), "{}", error.hint());
    }
    assert!(names(folder.path()).is_empty());
}

#[test]
fn a_writer_can_go_to_another_thread() {
    fn can_go<T: Send>() {}
    can_go::<Writer>();
}

/// A device stays a device, even where the user may write to it.
#[cfg(target_os = "linux")]
#[test]
fn devices_are_never_replaced() {
    let mut target = target(Path::new("a.tif"), Depth::Eight, Space::Srgb, Packing::None);
    target.path = "/dev/full".into();
    let error = target.check().expect_err("a device");
    assert!(matches!(error, WriteError::Place { .. }), "{error}");
}
