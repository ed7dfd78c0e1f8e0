//! Puts `linker/memory.x` where the linker looks, asks for the log's linker script when the log is in, and writes down what
//! the image is built from.

mod build_number;

/// What goes into the image, seen from this folder.
const SOURCES: [&str; 11] = [
    "src",
    "kit",
    "build.rs",
    "build_number.rs",
    "linker",
    "Cargo.toml",
    "Cargo.lock",
    ".cargo/config.toml",
    "../lockstep",
    "../../firmware-core/src",
    "../../firmware-core/Cargo.toml",
];

fn main() {
    // Not in this folder: the linker looks here first, whatever image it links.
    println!("cargo::rustc-link-search={}/linker", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
    build_number::write(&SOURCES);
}
