//! The house rules that a compiler does not check: nothing imports upward, and the developers' page names
//! only what exists.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Crates, lowest floor first; each may depend only on those before it.
const CRATE_FLOORS: [&str; 9] = [
    "firmware-core",
    "lockstep",
    "plant",
    "study",
    "parts",
    "tune",
    "virtual-rig",
    "vanebench",
    "vanebench-checks",
];

/// Modules of `firmware-core`, lowest floor first; a module may use its own floor and those below.
const CORE_FLOORS: [&[&str]; 5] = [
    &["units", "sample", "command", "calibration", "settings", "faults", "tables"],
    &["plausibility", "target", "guard", "slew", "position", "limits"],
    &["learn", "store", "motion", "link"],
    &["controller", "drive"],
    &["session"],
];

fn floor_of(module: &str) -> Option<usize> {
    CORE_FLOORS.iter().position(|floor| floor.contains(&module))
}

/// Every `crate::module` that a source text uses, comments and tests aside.
fn used_modules(source: &str) -> Vec<String> {
    let code = source.split("#[cfg(test)]").next().unwrap_or_default();
    let mut modules = Vec::new();
    for line in code.lines().map(|line| line.split("//").next().unwrap_or_default()) {
        for tail in line.split("crate::").skip(1) {
            let names: Vec<&str> = match tail.strip_prefix('{') {
                Some(group) => group.split([',', '}']).map(str::trim).collect(),
                None => vec![tail],
            };
            for name in names {
                let module: String =
                    name.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect();
                if module.chars().next().is_some_and(|c| c.is_ascii_lowercase()) {
                    modules.push(module);
                }
            }
        }
    }
    modules
}

/// Uses that reach a higher floor than the module's own, as text.
fn upward_uses(module: &str, source: &str) -> Vec<String> {
    let own = floor_of(module)
        .unwrap_or_else(|| panic!("module {module} stands on no floor: add it to CORE_FLOORS"));
    used_modules(source)
        .into_iter()
        .filter(|used| floor_of(used).is_some_and(|floor| floor > own))
        .map(|used| format!("{module} uses {used}"))
        .collect()
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

#[test]
fn no_core_module_uses_a_floor_above_its_own() {
    let src = root().join("firmware-core/src");
    let mut upward = Vec::new();
    for file in rust_files(&src) {
        let inside = file.strip_prefix(&src).unwrap();
        let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
        let module = first.trim_end_matches(".rs");
        if module != "lib" {
            upward.extend(upward_uses(module, &fs::read_to_string(&file).unwrap()));
        }
    }
    assert!(upward.is_empty(), "{upward:#?}");
}

#[test]
fn a_planted_upward_use_is_found() {
    assert_eq!(
        upward_uses("slew", "use crate::units::Tick;\nuse crate::session::Session;"),
        ["slew uses session"]
    );
    assert_eq!(upward_uses("units", "use crate::{sample::Sample, guard::Guard};"), ["units uses guard"]);
    assert!(upward_uses("session", "use crate::link::Frame; // crate::nothing").is_empty());
}

#[test]
fn no_crate_depends_on_a_floor_above_its_own() {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--no-deps", "--offline", "--format-version", "1"])
        .current_dir(root())
        .output()
        .unwrap();
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut seen = BTreeMap::new();
    for package in metadata["packages"].as_array().unwrap() {
        let name = package["name"].as_str().unwrap();
        let own = CRATE_FLOORS.iter().position(|known| *known == name);
        let own = own.unwrap_or_else(|| panic!("crate {name} stands on no floor: add it to CRATE_FLOORS"));
        for dependency in package["dependencies"].as_array().unwrap() {
            let dependency = dependency["name"].as_str().unwrap();
            if let Some(floor) = CRATE_FLOORS.iter().position(|known| *known == dependency) {
                assert!(floor < own, "{name} depends on {dependency}, a floor above");
            }
        }
        seen.insert(name.to_owned(), own);
    }
    assert_eq!(seen.len(), CRATE_FLOORS.len(), "{seen:?}");
}

#[test]
fn every_path_the_developers_page_names_exists() {
    let page = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let paths: Vec<&str> = page
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| word.contains('/') && !word.contains([' ', '<', '*', '{']))
        .collect();
    let missing: Vec<&&str> =
        paths.iter().filter(|path| !root().join(path.trim_start_matches("./")).exists()).collect();
    assert!(missing.is_empty(), "DEVELOPERS.md names what is not there: {missing:?}");
    assert!(paths.len() >= 10, "the page names only {} paths: is the search for them broken?", paths.len());
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "firmware-core",
        "host-sim",
        "tests",
        "rigs",
    ];
    let listed = Command::new("git").args(["ls-files"]).current_dir(root()).output().unwrap();
    for path in String::from_utf8(listed.stdout).unwrap().lines() {
        let top = path.split('/').next().unwrap();
        assert!(top.starts_with('.') || allowed.contains(&top), "{top} does not belong at the top level");
    }
}
