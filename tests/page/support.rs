//! What pages hold: addresses, files within addresses, pictures.

use std::fs;
use std::path::Path;

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;

/// All values of an attribute in a page, escapes undone.
pub fn attributes(page: &str, name: &str) -> Vec<String> {
    let begin = format!(" {name}=\"");
    page.split(&begin)
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .map(plain)
        .collect()
}

/// A text with its escapes undone.
pub fn plain(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

/// A path of an address, its percent signs undone.
pub fn decoded(address: &str) -> String {
    let bytes = address.as_bytes();
    let mut out = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        if bytes[at] == b'%' {
            let digits = &address[at + 1..at + 3];
            out.push(u8::from_str_radix(digits, 16).expect("two digits"));
            at += 3;
        } else {
            out.push(bytes[at]);
            at += 1;
        }
    }
    String::from_utf8(out).expect("UTF-8")
}

/// The bytes of a file within an address.
pub fn within(address: &str, mime: &str) -> Vec<u8> {
    let text = address
        .strip_prefix(&format!("data:{mime};base64,"))
        .unwrap_or_else(|| panic!("{}", &address[..address.len().min(80)]));
    let value = |letter: u8| -> u32 {
        u32::from(match letter {
            b'A'..=b'Z' => letter - b'A',
            b'a'..=b'z' => letter - b'a' + 26,
            b'0'..=b'9' => letter - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => panic!("{letter}"),
        })
    };
    let letters: Vec<u8> = text.bytes().filter(|letter| *letter != b'=').collect();
    let mut out = Vec::new();
    for four in letters.chunks(4) {
        let bits = four
            .iter()
            .fold(0, |bits, letter| bits << 6 | value(*letter));
        let bits = bits << (6 * (4 - four.len()));
        out.extend_from_slice(&bits.to_be_bytes()[1..four.len()]);
    }
    out
}

/// A JPEG: its size, its colour profile, its pixels.
pub struct Jpeg {
    pub size: (usize, usize),
    pub profile: Vec<u8>,
    pub rgb: Vec<u8>,
}

pub fn jpeg(bytes: &[u8]) -> Jpeg {
    let mut decoder = JpegDecoder::new(ZCursor::new(bytes));
    let rgb = decoder.decode().expect("a whole JPEG");
    let size = decoder.dimensions().expect("a size");
    let profile = decoder.icc_profile().expect("a colour profile");
    Jpeg { size, profile, rgb }
}

pub fn jpeg_file(path: &Path) -> Jpeg {
    jpeg(&fs::read(path).expect("the picture is there"))
}

/// A copy of the sample field.
pub fn sample(to: &Path) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-stacks/lantern");
    for entry in fs::read_dir(from).expect("the sample") {
        let entry = entry.expect("an entry");
        fs::copy(entry.path(), to.join(entry.file_name())).expect("copied");
    }
}
