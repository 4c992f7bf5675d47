//! The typeface in a PDF: whole files of it, and what each letter means.

use std::collections::BTreeMap;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish as _, Name, Pdf, Rect, Ref, Str};
use ttf_parser::{Face, GlyphId};

use super::deflated;
use crate::io::draw::font::{self, File, Glyph};

/// Names of the files, as the PDF calls them.
const NAMES: [&str; 3] = ["NotoSans-Regular", "NotoSans-Bold", "NotoSansMath-Signs"];

const SYSTEM: SystemInfo<'_> = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

/// The letters that a page shows.
#[derive(Default)]
pub struct Letters {
    used: BTreeMap<File, BTreeMap<u16, char>>,
}

impl Letters {
    /// Notes that these letters, all of one file, are shown. Gives the name of
    /// its font.
    pub fn used(&mut self, run: &[Glyph]) -> String {
        let file = run.first().map_or(File(0), |glyph| glyph.file);
        let known = self.used.entry(file).or_default();
        for glyph in run {
            known.entry(glyph.id).or_insert(glyph.letter);
        }
        name(file)
    }

    /// Writes the fonts, their objects numbered from `next` on. Gives their
    /// names with their objects.
    pub fn fonts(&self, pdf: &mut Pdf, next: i32) -> Vec<(String, Ref)> {
        let mut ids = (next..).map(Ref::new);
        let mut fonts = Vec::new();
        for (file, letters) in &self.used {
            let face = font::faces().get(file.0);
            let bytes = font::FILES.get(file.0);
            let objects: Vec<Ref> = ids.by_ref().take(5).collect();
            if let (Some(face), Some(bytes), &[font, cid, about, data, map]) =
                (face, bytes, &objects[..])
            {
                write(
                    pdf,
                    *file,
                    face,
                    bytes,
                    letters,
                    [font, cid, about, data, map],
                );
                fonts.push((name(*file), font));
            }
        }
        fonts
    }
}

fn name(file: File) -> String {
    format!("F{}", file.0)
}

fn write(
    pdf: &mut Pdf,
    file: File,
    face: &Face<'_>,
    bytes: &[u8],
    letters: &BTreeMap<u16, char>,
    [font, cid, about, data, map]: [Ref; 5],
) {
    let name = Name(
        NAMES
            .get(file.0)
            .map_or(&b"Linehue"[..], |name| name.as_bytes()),
    );
    let em = 1000.0 / f32::from(face.units_per_em().max(1));
    let scaled = |units: i16| f32::from(units) * em;
    pdf.type0_font(font)
        .base_font(name)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid)
        .to_unicode(map);
    let mut cid_font = pdf.cid_font(cid);
    cid_font
        .subtype(CidFontType::Type2)
        .base_font(name)
        .system_info(SYSTEM)
        .font_descriptor(about)
        .default_width(0.0)
        .cid_to_gid_map_predefined(Name(b"Identity"));
    let mut widths = cid_font.widths();
    for id in letters.keys() {
        let advance = face.glyph_hor_advance(GlyphId(*id)).unwrap_or(0);
        widths.consecutive(*id, [f32::from(advance) * em]);
    }
    widths.finish();
    cid_font.finish();
    let reach = face.global_bounding_box();
    pdf.font_descriptor(about)
        .name(name)
        .flags(FontFlags::SYMBOLIC)
        .bbox(Rect::new(
            scaled(reach.x_min),
            scaled(reach.y_min),
            scaled(reach.x_max),
            scaled(reach.y_max),
        ))
        .italic_angle(0.0)
        .ascent(scaled(face.ascender()))
        .descent(scaled(face.descender()))
        .cap_height(scaled(face.capital_height().unwrap_or(face.ascender())))
        .stem_v(if file.0 == 1 { 140.0 } else { 80.0 })
        .font_file2(data);
    let packed = deflated(bytes);
    let mut stream = pdf.stream(data, &packed);
    stream.filter(Filter::FlateDecode);
    stream.pair(Name(b"Length1"), bytes.len() as i32);
    stream.finish();
    let mut unicode = UnicodeCmap::<u16>::new(Name(b"Linehue"), SYSTEM);
    for (id, letter) in letters {
        // The box of missing letters stands for many.
        let letter = if *id == 0 { '\u{fffd}' } else { *letter };
        unicode.pair(*id, letter);
    }
    let unicode = deflated(&unicode.finish());
    pdf.cmap(map, &unicode).filter(Filter::FlateDecode);
}
