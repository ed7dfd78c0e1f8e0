//! Names the code that a campaign's outcome depends on: controller, world and campaigns, and what they build on.
//!
//! Parts of one campaign must come from the same code, and a version number alone does not change with every line.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// Folders and files, from this crate's own.
const WHAT_COUNTS: [&str; 4] = ["../../firmware-core/src", "../plant/src", "src", "../../Cargo.lock"];

fn main() -> io::Result<()> {
    let mut files = Vec::new();
    for place in WHAT_COUNTS {
        println!("cargo:rerun-if-changed={place}");
        collect(Path::new(place), &mut files)?;
    }
    files.sort();
    let mut sum = Sha256::new();
    for file in files {
        sum.update(fs::read(file)?);
    }
    println!("cargo:rustc-env=CAMPAIGN_CODE={:x}", sum.finalize());
    Ok(())
}

fn collect(place: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    if place.is_file() {
        files.push(place.to_owned());
        return Ok(());
    }
    for entry in fs::read_dir(place)? {
        collect(&entry?.path(), files)?;
    }
    Ok(())
}
