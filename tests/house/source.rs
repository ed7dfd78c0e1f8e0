//! The production source as syntax trees: every Rust file of the crates, without its tests.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use syn::visit_mut::{self, VisitMut};

/// Where production code lies, with the name of each crate.
pub(crate) const CRATES: [(&str, &str); 11] = [
    ("firmware_core", "firmware-core/src"),
    ("lockstep", "rigs/lockstep/src"),
    ("plant", "host-sim/plant/src"),
    ("study", "host-sim/study/src"),
    ("parts", "host-sim/parts/src"),
    ("tune", "host-sim/tune/src"),
    ("virtual_rig", "rigs/virtual/src"),
    ("vanebench", "rigs/bench/src"),
    ("board", "rigs/board/src"),
    ("board_kit", "rigs/board/kit/src"),
    ("board_stm32f4", "rigs/board/stm32f4/src"),
];

/// One file of production code.
pub(crate) struct Source {
    /// Crate that it belongs to.
    pub(crate) krate: &'static str,
    /// Path from the repository's root.
    pub(crate) path: String,
    /// Module path inside the crate; empty for its root.
    pub(crate) module: Vec<String>,
    /// Its syntax, tests removed.
    pub(crate) tree: syn::File,
    /// Its lines, tests removed.
    pub(crate) lines: usize,
}

pub(crate) fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every file that git knows under a folder and that ends in `.rs`.
pub(crate) fn tracked(folder: &str) -> Vec<String> {
    let listed = Command::new("git")
        .args(["ls-files", "-co", "--exclude-standard", folder])
        .current_dir(root())
        .output()
        .unwrap();
    let text = String::from_utf8(listed.stdout).unwrap();
    text.lines()
        .filter(|path| path.ends_with(".rs") && root().join(path).exists())
        .map(str::to_owned)
        .collect()
}

/// All production files; files that only tests compile are left out.
pub(crate) fn production() -> Vec<Source> {
    let mut sources = Vec::new();
    for (krate, folder) in CRATES {
        let files: Vec<Source> = tracked(folder).into_iter().map(|path| read(krate, folder, path)).collect();
        let test_only: Vec<Vec<String>> = files.iter().flat_map(test_modules).collect();
        sources.extend(
            files.into_iter().filter(|file| !test_only.iter().any(|module| file.module.starts_with(module))),
        );
    }
    for source in &mut sources {
        let all = source.tree.items.len();
        StripTests.visit_file_mut(&mut source.tree);
        if source.tree.items.len() < all {
            source.lines = lines_before_tests(&root().join(&source.path));
        }
    }
    sources
}

fn read(krate: &'static str, folder: &str, path: String) -> Source {
    let text = fs::read_to_string(root().join(&path)).unwrap();
    let tree = syn::parse_file(&text).unwrap_or_else(|error| panic!("{path}: {error}"));
    let inside = Path::new(&path).strip_prefix(folder).unwrap().with_extension("");
    let mut module: Vec<String> = inside.iter().map(|part| part.to_string_lossy().into_owned()).collect();
    if module.last().is_some_and(|last| ["mod", "lib", "main"].contains(&last.as_str())) {
        module.pop();
    }
    Source { krate, lines: text.lines().count(), path, module, tree }
}

fn lines_before_tests(path: &Path) -> usize {
    let text = fs::read_to_string(path).unwrap();
    text.lines().take_while(|line| !line.starts_with("#[cfg(test)]")).count()
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute.meta.require_list().is_ok_and(|list| list.tokens.to_string() == "test")
    })
}

/// Modules of a file that only tests compile, as paths from the crate's root.
fn test_modules(source: &Source) -> Vec<Vec<String>> {
    let modules = source.tree.items.iter().filter_map(|item| match item {
        syn::Item::Mod(module) if module.content.is_none() && is_test(&module.attrs) => {
            Some(source.module.iter().cloned().chain([module.ident.to_string()]).collect())
        }
        _ => None,
    });
    modules.collect()
}

struct StripTests;

impl VisitMut for StripTests {
    fn visit_file_mut(&mut self, file: &mut syn::File) {
        file.items.retain(|item| !is_test(attributes_of(item)));
        visit_mut::visit_file_mut(self, file);
    }
}

fn attributes_of(item: &syn::Item) -> &[syn::Attribute] {
    match item {
        syn::Item::Mod(item) => &item.attrs,
        syn::Item::Impl(item) => &item.attrs,
        syn::Item::Fn(item) => &item.attrs,
        syn::Item::Const(item) => &item.attrs,
        syn::Item::Use(item) => &item.attrs,
        syn::Item::Struct(item) => &item.attrs,
        _ => &[],
    }
}
