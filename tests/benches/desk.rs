//! How long it takes until stacks lie on the desk: seven plain files of 26
//! megapixels from the system's cache, until the first layer is there and until
//! all are, and how much memory that takes (Linux).

use std::io::Write as _;
use std::path::PathBuf;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use divan::Bencher;
use divan::counter::ItemsCount;
use linehue::work::desk::{Event, Job, Worker};
use tempfile::TempDir;

const WIDTH: usize = 6248;
const HEIGHT: usize = 4176;
const FILTERS: [&str; 7] = ["Ha", "OIII", "SII", "L", "R", "G", "B"];

fn main() {
    divan::main();
}

/// A sky with something like noise, a few bright pixels, in big-endian floats.
fn stacks() -> TempDir {
    let root = TempDir::new().expect("a folder");
    let mut row = Vec::with_capacity(WIDTH * 4);
    for (number, filter) in FILTERS.into_iter().enumerate() {
        let path = root.path().join(format!("lantern-{number}.fits"));
        let file = std::fs::File::create(path).expect("a file");
        let mut out = std::io::BufWriter::with_capacity(1 << 20, file);
        let mut header = String::new();
        for card in [
            "SIMPLE  =                    T".to_owned(),
            "BITPIX  =                  -32".to_owned(),
            "NAXIS   =                    2".to_owned(),
            format!("NAXIS1  = {WIDTH}"),
            format!("NAXIS2  = {HEIGHT}"),
            format!("FILTER  = '{filter}'"),
            "END".to_owned(),
        ] {
            header.push_str(&format!("{card:<80}"));
        }
        out.write_all(format!("{header:<2880}").as_bytes())
            .expect("written");
        let mut state = 0x9e37_79b9_u32 ^ number as u32;
        for _ in 0..HEIGHT {
            row.clear();
            for _ in 0..WIDTH {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                let star = if state.is_multiple_of(5000) {
                    40.0
                } else {
                    1.0
                };
                let value = 300.0 + star * (state >> 20) as f32 / 64.0;
                row.extend(value.to_be_bytes());
            }
            out.write_all(&row).expect("written");
        }
        let end = 2880 + WIDTH * HEIGHT * 4;
        let pad = end.next_multiple_of(2880) - end;
        out.write_all(&vec![0; pad]).expect("written");
        out.flush().expect("written");
    }
    root
}

/// Kilobytes that the process holds, at most so far.
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let digits = line.map(|line| {
        line.chars()
            .filter(char::is_ascii_digit)
            .collect::<String>()
    });
    digits.and_then(|digits| digits.parse().ok()).unwrap_or(0)
}

fn open(folder: PathBuf) -> (Duration, Duration) {
    let (wake, woken) = channel();
    let mut worker = Worker::spawn(move || {
        wake.send(()).ok();
    });
    let began = Instant::now();
    worker.ask(Job::Open {
        paths: vec![folder],
        onto: None,
        lines: Vec::new(),
    });
    let (mut first, mut layers) = (None, Vec::new());
    loop {
        woken.recv().expect("the thread lives");
        for event in worker.events() {
            match event {
                Event::Layer { layer, .. } => {
                    first.get_or_insert_with(|| began.elapsed());
                    layers.push(layer);
                }
                Event::Finished { .. } => {
                    assert_eq!(layers.len(), FILTERS.len());
                    return (first.unwrap_or_default(), began.elapsed());
                }
                _ => {}
            }
        }
    }
}

#[divan::bench(sample_count = 4, sample_size = 1)]
fn seven_plain_files(bencher: Bencher<'_, '_>) {
    let root = stacks();
    let before = peak_kb();
    let pixels = FILTERS.len() * WIDTH * HEIGHT;
    let mut told = Vec::new();
    let started = std::cell::RefCell::new(&mut told);
    bencher.counter(ItemsCount::new(pixels)).bench_local(|| {
        let times = open(root.path().to_owned());
        started.borrow_mut().push(times);
    });
    let grown = peak_kb().saturating_sub(before);
    let planes = (pixels * 4) as u64 / 1024;
    for (first, all) in told {
        eprintln!("first layer after {first:.2?}, all after {all:.2?}");
    }
    eprintln!(
        "memory grew by {} MB, {} % of the planes",
        grown / 1024,
        100 * grown / planes
    );
}
