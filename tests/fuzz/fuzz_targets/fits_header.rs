#![no_main]

#[path = "../../support/fuzz_bodies.rs"]
#[expect(dead_code, reason = "each target uses one body")]
mod fuzz_bodies;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| fuzz_bodies::fits_header(bytes));
