//! Puts `memory.x` where the linker looks, asks for the log's linker script when the log is in, and writes down what
//! the image is built from.

use std::path::PathBuf;
use std::process::Command;
use std::{env, fs};

/// States what the image is built from in place of git's commit: eight hexadecimal digits.
const BUILD_VARIABLE: &str = "VANEBENCH_BUILD";
/// What goes into the image, seen from this folder.
const SOURCES: [&str; 9] = [
    "src",
    "build.rs",
    "memory.x",
    "Cargo.toml",
    "Cargo.lock",
    ".cargo/config.toml",
    "../lockstep",
    "../../firmware-core/src",
    "../../firmware-core/Cargo.toml",
];
const DIGITS: usize = 8;
const UNKNOWN: &str = "00000000";

fn main() {
    println!("cargo::rustc-link-search={}", env!("CARGO_MANIFEST_DIR"));
    if env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
    println!("cargo::rerun-if-env-changed={BUILD_VARIABLE}");
    for source in SOURCES {
        println!("cargo::rerun-if-changed={source}");
    }
    let build = env::var(BUILD_VARIABLE).ok().or_else(commit).unwrap_or_else(|| {
        println!("cargo::warning=the image does not know what it is built from: no commit, or sources not committed");
        UNKNOWN.to_owned()
    });
    let is_hash = build.len() == DIGITS && build.bytes().all(|digit| digit.is_ascii_hexdigit());
    assert!(
        is_hash,
        "{BUILD_VARIABLE} is `{build}`, allowed are {DIGITS} hexadecimal digits; unset it for git's commit"
    );
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("build"), format!("0x{build}")).expect("cargo's folder takes files");
}

/// The start of git's commit; nothing where the sources differ from it.
fn commit() -> Option<String> {
    println!("cargo::rerun-if-changed={}", git(&["rev-parse", "--git-path", "logs/HEAD"])?);
    let mut unchanged = vec!["diff", "--quiet", "HEAD", "--"];
    unchanged.extend(SOURCES);
    git(&unchanged)?;
    git(&["rev-parse", "HEAD"])?.get(..DIGITS).map(str::to_owned)
}

/// What git says, when it succeeds.
fn git(arguments: &[&str]) -> Option<String> {
    let output =
        Command::new("git").args(arguments).output().ok().filter(|output| output.status.success())?;
    Some(String::from_utf8(output.stdout).ok()?.trim().to_owned())
}
