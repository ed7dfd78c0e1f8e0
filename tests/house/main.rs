//! The house rules that a compiler does not check: nothing imports upward, and the developers' page names
//! only what exists.

mod api;
mod circles;
mod names;
mod source;
mod wildcards;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::process::Command;

use quote::ToTokens;
use source::{CRATES, Source, production, root, tracked};

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

/// A crate's modules, lowest floor first; a module may use its own floor and those below.
type Floors = [Vec<String>];

/// Floors of every crate but the core, whose list stands in [`CORE_FLOORS`].
const FLOORS: [(&str, &[&[&str]]); 4] = [
    (
        "plant",
        &[
            &["files", "gas", "lanes", "shown"],
            &["check"],
            &["atmosphere", "friction", "nozzle", "toml_file"],
            &["actuator", "airpath"],
            &["sensor"],
            &["world"],
        ],
    ),
    (
        "study",
        &[
            &["catalogue", "scenario", "search", "trace"],
            &["metrics"],
            &["run"],
            &["campaign"],
            &["boost_tuning", "foresight"],
        ],
    ),
    (
        "parts",
        &[
            &["pendulum", "problem", "uncertainty"],
            &["quantity"],
            &["field", "flow", "compressor_map"],
            &["specs", "teardown"],
            &["entry"],
            &["sheet"],
            &["errors", "wheels", "compressor", "indexing"],
            &["figures"],
            &["pendulum_sheet"],
            &["check"],
            &["read"],
            &["compare", "matching"],
        ],
    ),
    (
        "vanebench",
        &[
            &["checks", "exit", "fold", "number", "rig", "short_text", "span", "terminal", "unit_name"],
            &["document_kind", "whole_number", "console", "figures", "output", "profile"],
            &["interrupt", "limits", "progress"],
            &["actuator", "caution"],
            &["client", "port"],
            &["record"],
            &["criteria", "judge", "unit_store"],
            &["evaluate", "procedure"],
            &["characterise", "document", "link_rig", "report", "screen"],
            &["unit_result"],
            &["verbs"],
            &["cli"],
        ],
    ),
];

/// Where the core's floors stand: a numbered list in the crate's own page.
const CORE_FLOORS: &str = "firmware-core/src/lib.rs";

/// Each crate with its floors.
fn floors() -> Vec<(&'static str, Vec<Vec<String>>)> {
    let page = fs::read_to_string(root().join(CORE_FLOORS)).unwrap();
    let numbered = page
        .lines()
        .filter(|line| line.starts_with("//! ") && line[4..].starts_with(|c: char| c.is_ascii_digit()));
    let core = numbered.map(|line| line.split('`').skip(1).step_by(2).map(str::to_owned).collect());
    let owned = |floor: &&[&str]| floor.iter().map(|module| (*module).to_owned()).collect();
    let others = FLOORS.iter().map(|(krate, floors)| (*krate, floors.iter().map(owned).collect()));
    [("firmware_core", core.collect())].into_iter().chain(others).collect()
}

fn floor_of(floors: &Floors, module: &str) -> Option<usize> {
    floors.iter().position(|floor| floor.iter().any(|known| known == module))
}

/// Uses that reach a higher floor than the file's own, as text.
fn upward_uses(floors: &Floors, source: &Source) -> Vec<String> {
    let Some(module) = source.module.first() else { return Vec::new() };
    let own = floor_of(floors, module).unwrap_or_else(|| {
        panic!("{} {module} stands on no floor: add it to FLOORS, or to {CORE_FLOORS}", source.krate)
    });
    circles::top_modules(source)
        .into_iter()
        .filter(|used| floor_of(floors, used).is_some_and(|floor| floor > own))
        .map(|used| format!("{} uses {used}", source.path))
        .collect()
}

#[test]
fn no_module_uses_a_floor_above_its_own() {
    let sources = production();
    let all = floors();
    let upward: Vec<String> = all
        .iter()
        .flat_map(|(krate, floors)| of_crate(&sources, krate).into_iter().map(move |file| (floors, file)))
        .flat_map(|(floors, file)| upward_uses(floors, file))
        .collect();
    assert!(upward.is_empty(), "{upward:#?}");
}

#[test]
fn no_floor_names_a_module_that_is_not_there() {
    let sources = production();
    for (krate, floors) in floors() {
        let files = of_crate(&sources, krate);
        let is_there =
            |module: &&String| files.iter().any(|file| file.module.first().is_some_and(|m| m == *module));
        let gone: Vec<_> = floors.iter().flatten().filter(|m| !is_there(m)).collect();
        assert!(gone.is_empty(), "{krate}: {gone:?}");
    }
}

fn planted(module: &str, text: &str) -> Source {
    Source {
        krate: "planted",
        path: module.to_owned(),
        module: vec![module.to_owned()],
        tree: syn::parse_str(text).unwrap(),
        lines: 0,
    }
}

#[test]
fn a_planted_upward_use_is_found_in_every_crate_with_floors() {
    for (krate, floors) in floors() {
        let (lowest, highest) = (&floors[0][0], &floors[floors.len() - 1][0]);
        let wrong = [
            format!("use crate::{highest}::A;"),
            format!("pub use crate::{{{lowest}::B, {highest}::A}};"),
            format!("fn a() {{ super::{highest}::b() }}"),
        ];
        for text in wrong {
            let found = upward_uses(&floors, &planted(lowest, &text));
            assert_eq!(found, [format!("{lowest} uses {highest}")], "{krate}: {text}");
        }
        let sound = planted(highest, &format!("use crate::{lowest}::A; // crate::nothing"));
        assert!(upward_uses(&floors, &sound).is_empty(), "{krate}");
    }
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

/// Crates whose `pub` items must be named by another crate; the core's are for boards outside.
const CLOSED_CRATES: [&str; 6] = ["plant", "study", "parts", "tune", "virtual_rig", "vanebench"];

/// The longest that nine functions in ten may be, lines.
const NINE_IN_TEN: usize = 22;

/// This bound only ever falls; wanted are functions within 40 lines.
const LONGEST_FUNCTION: usize = 56;

fn of_crate<'all>(sources: &'all [Source], krate: &str) -> Vec<&'all Source> {
    sources.iter().filter(|source| source.krate == krate).collect()
}

#[test]
fn no_files_import_each_other_in_a_circle() {
    let sources = production();
    let found: Vec<_> =
        CRATES.iter().flat_map(|(krate, _)| circles::circles(&of_crate(&sources, krate))).collect();
    println!("circles of files: {}", found.len());
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn a_planted_circle_is_found() {
    let (a, b) = (planted("a", "use crate::b::B; struct A;"), planted("b", "struct B(super::a::A);"));
    assert_eq!(circles::circles(&[&a, &b]), [["a", "b"]]);
    assert!(circles::circles(&[&a, &planted("b", "struct B;")]).is_empty());
}

#[test]
fn every_type_name_has_one_meaning() {
    let sources = production();
    let twice = names::declared_twice(&sources);
    println!("type names declared twice: {}", twice.len());
    assert!(twice.is_empty(), "{twice:#?}");
}

#[test]
fn no_arm_takes_what_is_left_of_an_own_enum() {
    let found = wildcards::over_own_enums(&production());
    println!("wildcard arms over own enums: {}", found.len());
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn a_planted_wildcard_arm_is_found() {
    let places = |arm: &str| {
        let text = format!("enum A {{ One, Other }} fn f(a: &A) {{ match a {{ A::One => 1, {arm} => 2 }} }}");
        wildcards::over_own_enums(&[planted("a", &text)])
    };
    assert_eq!((places("_"), places("rest")), (vec!["a:1".to_owned()], vec!["a:1".to_owned()]));
    assert!(places("A::Other").is_empty());
}

/// Crates that must do work in the core, the tool, or their tests.
const USED: [&str; 6] = ["heapless", "embedded_hal", "pid", "defmt", "proptest", "serialport"];

#[test]
fn every_crate_that_is_named_as_used_is() {
    let sources = production();
    let files = ["firmware-core", "rigs", "host-sim", "tests"].iter().flat_map(|folder| tracked(folder));
    let texts: Vec<String> = files.map(|path| fs::read_to_string(root().join(path)).unwrap()).collect();
    for name in USED {
        let is_named = |text: &str| text.contains(&format!("{name}::"));
        let production = sources
            .iter()
            .filter(|source| is_named(&source.tree.to_token_stream().to_string().replace(" :: ", "::")));
        let (production, all) = (production.count(), texts.iter().filter(|text| is_named(text)).count());
        println!("{name}: used in {production} files of production, {all} in all");
        assert!(production > 0 || (name == "proptest" && all > 0), "{name} is in no production file");
    }
}

#[test]
fn functions_stay_short() {
    let sources = production();
    let lines = names::function_lines(&sources);
    let p90 = lines[lines.len() * 9 / 10].0;
    let production_lines: usize = sources.iter().map(|source| source.lines).sum();
    println!(
        "functions: {}, nine in ten within {p90} lines; production lines: {production_lines}",
        lines.len()
    );
    let long: Vec<_> = lines.iter().filter(|(lines, _)| *lines > LONGEST_FUNCTION).collect();
    assert!(long.is_empty() && p90 <= NINE_IN_TEN, "p90 {p90}, too long: {long:#?}");
}

#[test]
fn every_public_item_is_named_by_another_crate() {
    let sources = production();
    let outside: Vec<(String, String)> = ["tests", "rigs", "host-sim"]
        .iter()
        .flat_map(|folder| tracked(folder))
        .filter(|path| path.starts_with("tests/") || path.contains("/tests/") || path.contains("/benches/"))
        .map(|path| (path.clone(), fs::read_to_string(root().join(&path)).unwrap()))
        .collect();
    let unnamed = names::unnamed_outside(&sources, &CLOSED_CRATES, &outside);
    println!("public items that no other crate names: {}", unnamed.len());
    assert!(unnamed.is_empty(), "{unnamed:#?}");
}

/// What boards outside this repository build on.
const API: &str = "firmware-core/API.txt";

fn api_text() -> String {
    let sources = production();
    format!(
        "The public items of firmware-core, from its source. After a change that is meant:\n{RENEW_API}\n\n{}",
        api::listed(&of_crate(&sources, "firmware_core"))
    )
}

const RENEW_API: &str =
    "cargo test -p vanebench-checks --test house -- --ignored write_the_cores_public_items";

#[test]
#[ignore = "writes the list instead of checking it"]
fn write_the_cores_public_items() {
    fs::write(root().join(API), api_text()).unwrap();
}

#[test]
fn the_cores_public_items_are_those_on_record() {
    let (recorded, found) = (fs::read_to_string(root().join(API)).unwrap(), api_text());
    let only_in = |one: &str, other: &str| -> Vec<String> {
        let known: BTreeSet<&str> = other.lines().collect();
        one.lines().filter(|line| !known.contains(line)).map(str::to_owned).collect()
    };
    let (gone, new) = (only_in(&recorded, &found), only_in(&found, &recorded));
    assert!(
        recorded == found,
        "{API} is not what the source says. Gone: {gone:#?}\nNew: {new:#?}\n\
         Boards outside build on these. If the change is meant: {RENEW_API}"
    );
}

#[test]
fn a_planted_public_item_is_listed_and_a_private_one_is_not() {
    let source = planted(
        "a",
        "#[derive(Debug, Clone)] pub struct A { pub b: Option<u8>, c: u8 } struct D; \
         impl A { pub fn e(&self,\n f: u8,\n) -> u8 { 1 } fn g() {} } impl Copy for A {} impl Copy for D {} \
         pub enum H { I, J { k: u8 }, L(u8) } pub(crate) fn m() {} pub trait N { const O: u8; fn p(); }",
    );
    let expected = "crate::a
    struct A: Debug, Clone
        b: Option<u8>
    impl A
        fn e(&self, f: u8) -> u8
    impl Copy for A
    enum H
        I
        J {k: u8}
        L {u8}
    trait N
        const O: u8
        fn p()
";
    assert_eq!(api::listed(&[&source]), expected);
}
