//! Puts the machine's memory layout where the linker looks.

fn main() {
    println!("cargo::rerun-if-changed=memory.x");
    println!("cargo::rustc-link-search={}", env!("CARGO_MANIFEST_DIR"));
    // The runtime's script includes nothing by itself.
    println!("cargo::rustc-link-arg-bins=-Tmemory.x");
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
}
