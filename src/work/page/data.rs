//! Bytes as text: Base64, addresses, and what a page promises about its own
//! style and script.

use sha2::{Digest as _, Sha256};

const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// Base64 with padding (RFC 4648, section 4).
pub fn base64(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for place in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * place)) as usize & 63];
            text.push(if place <= three.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    text
}

/// A file within an address (RFC 2397).
pub fn address_of(mime: &str, bytes: &[u8]) -> String {
    format!("data:{mime};base64,{}", base64(bytes))
}

/// A path of a page's folder as an address (RFC 3986): what is not plain is
/// percent-encoded, so that no name leads elsewhere.
pub fn relative_address(path: &str) -> String {
    let mut text = String::new();
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

/// The source expression that allows exactly this style or script (Content
/// Security Policy Level 3, section 2.3.1).
pub fn only_this(text: &str) -> String {
    format!("'sha256-{}'", base64(&Sha256::digest(text.as_bytes())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
        assert_eq!(base64(&[0xff, 0xfe, 0xfb]), "//77");
    }

    #[test]
    fn a_hash_is_that_of_the_standard() {
        // FIPS 180-2, appendix B.1, in Base64.
        assert_eq!(
            only_this("abc"),
            "'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='"
        );
    }

    #[test]
    fn names_do_not_lead_elsewhere() {
        assert_eq!(relative_address("files/a/b.tif"), "files/a/b.tif");
        assert_eq!(
            relative_address("a b?#%\"'<:é.json"),
            "a%20b%3F%23%25%22%27%3C%3A%C3%A9.json"
        );
    }
}
