//! Puts the chip's memory layout where the linker looks, and writes down chip, crystal and what the image is built from.

#[path = "../build_number.rs"]
mod build_number;

use std::path::{Path, PathBuf};
use std::{env, fs};

/// What goes into the image, seen from this folder.
const SOURCES: [&str; 12] = [
    "src",
    "chips",
    "layout.x",
    "build.rs",
    "Cargo.toml",
    "../kit",
    "../build_number.rs",
    "../Cargo.toml",
    "../Cargo.lock",
    "../.cargo/config.toml",
    "../../../firmware-core/src",
    "../../../firmware-core/Cargo.toml",
];
/// Names the chip: a file in `chips`.
const CHIP_VARIABLE: &str = "VANEBENCH_CHIP";
const CHIP: &str = "F405RG";
/// States the board's crystal in MHz.
const CRYSTAL_VARIABLE: &str = "VANEBENCH_CRYSTAL_MHZ";
const CRYSTAL: &str = "8";
/// RM0090 rev 19, 7.2.1: an external crystal of 4 to 26 MHz.
const CRYSTALS_MHZ: std::ops::RangeInclusive<u32> = 4..=26;

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    println!("cargo::rustc-link-search={}", out.display());
    let chip = stated(CHIP_VARIABLE, CHIP);
    let layout = Path::new("chips").join(format!("{chip}.x"));
    let mut memory = fs::read_to_string(&layout).unwrap_or_else(|error| {
        panic!("{}: {error}; {CHIP_VARIABLE} must name a file of the folder chips", layout.display())
    });
    memory.push_str(include_str!("layout.x"));
    fs::write(out.join("memory.x"), memory).expect("cargo's folder takes files");
    let crystal = stated(CRYSTAL_VARIABLE, CRYSTAL);
    assert!(
        crystal.parse().is_ok_and(|megahertz| CRYSTALS_MHZ.contains(&megahertz)),
        "{CRYSTAL_VARIABLE} is `{crystal}`, allowed are {CRYSTALS_MHZ:?} MHz: read it off the crystal's can"
    );
    println!("cargo::rustc-env={CHIP_VARIABLE}={chip}");
    fs::write(out.join("crystal"), crystal).expect("cargo's folder takes files");
    if env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
    build_number::write(&SOURCES);
}

fn stated(variable: &str, default: &str) -> String {
    println!("cargo::rerun-if-env-changed={variable}");
    env::var(variable).unwrap_or_else(|_| default.to_owned())
}
