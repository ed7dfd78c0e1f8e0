//! Writes down what an image is built from, for the build scripts of the images.

use std::path::PathBuf;
use std::process::Command;
use std::{env, fs};

/// States what the image is built from in place of git's commit: eight hexadecimal digits.
const BUILD_VARIABLE: &str = "VANEBENCH_BUILD";
const DIGITS: usize = 8;
const UNKNOWN: &str = "00000000";

/// Writes the build's number to `OUT_DIR/build`; `sources` are the paths that go into the image, seen from its folder.
pub(crate) fn write(sources: &[&str]) {
    println!("cargo::rerun-if-env-changed={BUILD_VARIABLE}");
    for source in sources {
        println!("cargo::rerun-if-changed={source}");
    }
    let build = env::var(BUILD_VARIABLE).ok().or_else(|| commit(sources)).unwrap_or_else(|| {
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
fn commit(sources: &[&str]) -> Option<String> {
    println!("cargo::rerun-if-changed={}", git(&["rev-parse", "--git-path", "logs/HEAD"])?);
    let mut unchanged = vec!["diff", "--quiet", "HEAD", "--"];
    unchanged.extend(sources);
    git(&unchanged)?;
    git(&["rev-parse", "HEAD"])?.get(..DIGITS).map(str::to_owned)
}

/// What git says, when it succeeds.
fn git(arguments: &[&str]) -> Option<String> {
    let output =
        Command::new("git").args(arguments).output().ok().filter(|output| output.status.success())?;
    Some(String::from_utf8(output.stdout).ok()?.trim().to_owned())
}
