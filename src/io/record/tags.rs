//! What a composite carries in itself, from its record and its headers.

use crate::engine::caption::tidy;
use crate::engine::frame::Size;
use crate::engine::header::{Header, Value};
use crate::engine::wcs::Wcs;
use crate::io::write::xmp;

use super::{AssignmentEntry, Input, Record};

/// Header keywords that a record keeps for each input.
pub const KEPT: [&str; 34] = [
    "OBJECT", "FILTER", "FILTER1", "FILTER2", "TELESCOP", "INSTRUME", "OBSERVER", "ORIGIN",
    "DATE-OBS", "DATE-BEG", "DATE-AVG", "DATE-END", "TIMESYS", "XPOSURE", "TOTALEXP", "LIVETIME",
    "EXPTIME", "EXPOSURE", "NCOMBINE", "STACKCNT", "GAIN", "EGAIN", "CCD-TEMP", "SET-TEMP",
    "FOCALLEN", "APTDIA", "XPIXSZ", "YPIXSZ", "XBINNING", "YBINNING", "BUNIT", "SATURATE",
    "ROWORDER", "IMAGETYP",
];

/// The cards of a header that a record keeps.
pub fn kept(header: &Header) -> std::collections::BTreeMap<String, serde_json::Value> {
    KEPT.iter()
        .filter_map(|keyword| {
            let value = match header.get(keyword)? {
                Value::Text(text) | Value::Other(text) => text.trim().into(),
                Value::Integer(number) => (*number).into(),
                Value::Real(number) => serde_json::Number::from_f64(*number)?.into(),
                Value::Logical(flag) => (*flag).into(),
            };
            Some(((*keyword).to_owned(), value))
        })
        .collect()
}

/// The XMP description of a composite. `headers` go with `record.inputs`; the
/// reference's gives the place on the sky.
pub fn description(record: &Record, headers: &[&Header], reference: &Header) -> xmp::Description {
    let about = &record.recipe.about;
    let object = object(record);
    let mut channels = Vec::new();
    let luminance = record
        .recipe
        .rendition(&record.rendition)
        .and_then(|rendition| rendition.luminance.as_ref());
    for (input, header) in record.inputs.iter().zip(headers) {
        let brightens = luminance
            .and_then(|luminance| luminance.from.get(&input.channel))
            .is_some_and(|weight| *weight > 0.0);
        let colored = record
            .assignments
            .iter()
            .any(|entry| entry.channel == input.channel);
        // The reference may lend its grid alone.
        if !colored && !brightens {
            continue;
        }
        let assignment = record
            .assignments
            .iter()
            .find(|entry| entry.channel == input.channel);
        channels.push(channel(
            record,
            input.exposure_s,
            &input.file,
            &input.channel,
            assignment,
            header,
        ));
    }
    let title = words(&about.title).unwrap_or_else(|| object.clone());
    let size = Size {
        width: record.composite.width,
        height: record.composite.height,
    };
    xmp::Description {
        title,
        description: record.caption.long.clone(),
        headline: record.caption.short.clone(),
        creators: words(&about.creator)
            .or_else(|| reference.text("OBSERVER").and_then(|text| words(&text)))
            .into_iter()
            .collect(),
        credit: about.credit.clone(),
        rights: about.rights.clone(),
        alt_text: record.caption.alt.clone(),
        keywords: words(&object).into_iter().collect(),
        software: format!("{} {}", record.software.name, record.software.version),
        channels,
        spectral_notes: spectral_notes(record),
        spatial: Wcs::from_header(reference).and_then(|wcs| spatial(&wcs, size, reference)),
        ..xmp::Description::default()
    }
}

/// The object that a record speaks of: the recipe's word, else the header's of
/// the reference, else that of any other input.
pub fn object(record: &Record) -> String {
    let recipe = &record.recipe;
    let of = |input: &Input| match input.header.get("OBJECT")? {
        serde_json::Value::String(text) => words(text),
        other => words(&other.to_string()),
    };
    let reference = recipe.reference().map(|channel| channel.id.as_str());
    let first = |wanted: bool| {
        let mut inputs = record.inputs.iter();
        inputs
            .find_map(|input| of(input).filter(|_| (reference == Some(&*input.channel)) == wanted))
    };
    words(&recipe.about.object)
        .or_else(|| first(true))
        .or_else(|| first(false))
        .unwrap_or_default()
}

// Visible words, if there are any.
fn words(text: &str) -> Option<String> {
    let tidy = tidy::words(text);
    (!tidy.is_empty()).then_some(tidy)
}

fn channel(
    record: &Record,
    integration_s: Option<f64>,
    file: &str,
    id: &str,
    assignment: Option<&AssignmentEntry>,
    header: &Header,
) -> xmp::Channel {
    let recipe_channel = record.recipe.channel(id);
    let line = recipe_channel.and_then(|channel| crate::engine::lines::line(&channel.line));
    let center_nm = recipe_channel
        .and_then(|channel| channel.center_nm)
        .or_else(|| line.map(|line| line.center_nm));
    let width_nm = recipe_channel.and_then(|channel| channel.width_nm);
    let mut bandpass = line.map_or_else(String::new, |line| line.symbol.clone());
    for other in assignment.map_or(&[][..], |entry| &entry.also_passes) {
        if let Some(other) = crate::engine::lines::line(other) {
            bandpass.push_str(&format!(" + {}", other.symbol));
        }
    }
    if let Some(width) = width_nm {
        bandpass.push_str(&format!(" {width} nm"));
    }
    let start = ["DATE-BEG", "DATE-OBS"]
        .into_iter()
        .find_map(|keyword| header.text(keyword));
    xmp::Channel {
        facility: header.text("TELESCOP").unwrap_or_default(),
        instrument: header.text("INSTRUME").unwrap_or_default(),
        color_name: assignment
            .map_or_else(|| "Luminosity".to_owned(), |entry| entry.word().to_owned()),
        band: center_nm.map_or("", band).to_owned(),
        bandpass,
        central_wavelength_nm: center_nm,
        start_time: start.filter(|text| is_iso_date(text)).unwrap_or_default(),
        integration_s,
        dataset_id: file.rsplit('/').next().unwrap_or_default().to_owned(),
    }
}

// AVM's words for parts of the spectrum.
fn band(center_nm: f64) -> &'static str {
    match center_nm {
        nm if nm < 380.0 => "Ultraviolet",
        nm if nm <= 780.0 => "Optical",
        _ => "Infrared",
    }
}

// yyyy-mm-dd, perhaps with a time; the old dd/mm/yy is left out.
fn is_iso_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() >= 10
        && bytes[..10].iter().enumerate().all(|(i, byte)| match i {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        })
}

fn spectral_notes(record: &Record) -> String {
    let lines: Vec<String> = record
        .assignments
        .iter()
        .map(|entry| {
            let [r, g, b] = entry.linear_srgb;
            format!(
                "{} ({} nm) -> {} [linear sRGB {r:.4} {g:.4} {b:.4}]",
                entry.channel, entry.center_nm, entry.css
            )
        })
        .collect();
    format!("Rendition {}: {}", record.rendition, lines.join("; "))
}

fn spatial(wcs: &Wcs, size: Size, header: &Header) -> Option<xmp::Spatial> {
    const PROJECTIONS: [&str; 6] = ["TAN", "SIN", "ARC", "AIT", "CAR", "CEA"];
    let frame = match wcs.frame.as_str() {
        "ICRS" | "FK5" | "FK4" => wcs.frame.clone(),
        _ => return None,
    };
    if !PROJECTIONS.contains(&wcs.projection.as_str()) {
        return None;
    }
    // The picture's rows are stored in file order, from the top; AVM counts
    // from the bottom.
    let turned = wcs.from_bottom(size);
    let [x, y] = turned.scale_deg();
    let as_seen = turned.shows_sky_as_seen();
    let equinox = wcs.equinox.unwrap_or(2000.0);
    Some(xmp::Spatial {
        frame,
        equinox: format!("{equinox:.1}"),
        reference_value: turned.reference_value,
        reference_dimension: [size.width as f64, size.height as f64],
        reference_pixel: turned.reference_pixel,
        // The standard fixes these signs; a mirrored picture says so in its notes.
        scale: [-x, y],
        rotation: turned.rotation_deg(),
        projection: wcs.projection.clone(),
        quality: if as_seen && !wcs.distorted {
            "Full"
        } else {
            "Position"
        }
        .to_owned(),
        notes: match (as_seen, wcs.distorted) {
            (false, _) => "Rows are kept in the order of the FITS file, top to bottom: \
                           the picture is mirrored against the sky."
                .to_owned(),
            (true, true) => "Distortion terms are left out.".to_owned(),
            (true, false) => String::new(),
        },
        fits_header: fits_header(&turned, size, header),
    })
}

// The world coordinates of the picture's own grid, counted from its bottom row.
fn fits_header(wcs: &Wcs, size: Size, header: &Header) -> String {
    let [[a, b], [c, d]] = wcs.cd;
    let mut cards = vec![
        "NAXIS   = 2".to_owned(),
        format!("NAXIS1  = {}", size.width),
        format!("NAXIS2  = {}", size.height),
        format!("CTYPE1  = 'RA---{}'", wcs.projection),
        format!("CTYPE2  = 'DEC--{}'", wcs.projection),
        format!("CRPIX1  = {:?}", wcs.reference_pixel[0]),
        format!("CRPIX2  = {:?}", wcs.reference_pixel[1]),
        format!("CRVAL1  = {:?}", wcs.reference_value[0]),
        format!("CRVAL2  = {:?}", wcs.reference_value[1]),
        format!("CD1_1   = {a:E}"),
        format!("CD1_2   = {b:E}"),
        format!("CD2_1   = {c:E}"),
        format!("CD2_2   = {d:E}"),
        format!("RADESYS = '{}'", wcs.frame),
    ];
    if let Some(equinox) = wcs.equinox {
        cards.push(format!("EQUINOX = {equinox:?}"));
    }
    if let Some(object) = header.text("OBJECT") {
        cards.push(format!("OBJECT  = '{}'", object.replace('\'', "''")));
    }
    cards.join("\n")
}
