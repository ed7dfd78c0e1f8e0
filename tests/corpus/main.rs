//! The fuzzer's corpus, and seeded variations of it, through the readers that the fuzzer drives: quick, on every
//! run. `tests/fuzz/run` looks for new ways in.

#[path = "../fuzz/src/readers.rs"]
mod readers;

use std::fs;
use std::path::PathBuf;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Variations of each input.
const VARIATIONS: usize = 40;

#[test]
fn the_decoder_writes_what_it_read() {
    through("decoder", readers::decoder);
}

#[test]
fn a_session_survives_whatever_is_sent() {
    through("session", readers::session);
}

#[test]
fn a_file_that_a_person_wrote_is_read_or_refused_by_name() {
    through("toml_files", readers::toml_files);
}

#[test]
fn a_runs_folder_is_read_or_refused() {
    through("record", readers::record);
}

fn through(target: &str, reader: impl Fn(&[u8])) {
    let inputs = inputs(target);
    assert!(inputs.len() >= 3, "a corpus of {} inputs shows nothing", inputs.len());
    let mut random = Pcg64Mcg::seed_from_u64(7);
    for input in &inputs {
        reader(input);
        for _ in 0..VARIATIONS {
            reader(&varied(input, &mut random));
        }
    }
}

fn inputs(target: &str) -> Vec<Vec<u8>> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(target);
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder).expect("the corpus").map(|entry| entry.expect("an input").path()).collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).expect("an input")).collect()
}

/// The input with a few bytes changed, a piece cut out or doubled.
fn varied(input: &[u8], random: &mut Pcg64Mcg) -> Vec<u8> {
    let mut bytes = input.to_vec();
    if bytes.is_empty() {
        return vec![random.random()];
    }
    for _ in 0..random.random_range(1..4) {
        let at = random.random_range(0..bytes.len());
        bytes[at] = random.random();
    }
    let (from, to) = (random.random_range(0..bytes.len()), random.random_range(0..bytes.len()));
    let piece = from.min(to)..from.max(to);
    match random.random_range(0..4) {
        0 => drop(bytes.drain(piece)),
        1 => bytes.extend_from_within(piece),
        _ => {}
    }
    bytes
}
