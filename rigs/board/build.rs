//! Puts `memory.x` where the linker looks, and asks for the log's linker script when the log is in.

fn main() {
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rustc-link-search={}", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("CARGO_FEATURE_LOG").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
}
