//! What `--json` prints: one document for each run, with its kind and version, as its own schema says.
//!
//! The judge is the library `jsonschema`, which knows nothing of this tool; the rules are those of JSON Schema, draft
//! 2020-12.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::collections::BTreeSet;
use std::io::{BufReader, Read};
use std::path::Path;
use std::process::{Command, Stdio};

use clap::ValueEnum;
use serde_json::Value;
use vanebench::document::{Kind, schema};

fn vanebench(args: &[&str], at: &Path) -> (i32, Value) {
    let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = tool.arg("--json").args(args).current_dir(at).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    let document = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{said}"));
    (output.status.code().unwrap(), document)
}

fn kind_of(document: &Value) -> Kind {
    let word = document["kind"].as_str().unwrap_or_else(|| panic!("without a kind: {document:#}"));
    Kind::from_str(word, false).unwrap()
}

fn faults(schema: &Value, document: &Value) -> Vec<String> {
    let validator = jsonschema::validator_for(schema).unwrap();
    validator.iter_errors(document).map(|error| format!("{}: {error}", error.instance_path())).collect()
}

/// The document's kind, once it is as its schema says.
fn checked(document: &Value, what: &str) -> Kind {
    let kind = kind_of(document);
    assert_eq!(document["version"], kind.version(), "{what}");
    let found = faults(&schema(kind), document);
    assert!(found.is_empty(), "{what}: {found:#?}");
    kind
}

#[test]
fn every_kind_of_document_is_as_its_schema_says() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets");
    let sheets: Vec<String> =
        ["ring-a.toml", "ring-b.toml"].map(|s| sheets.join(s).display().to_string()).into();
    let rod_off = ["--port", "virtual:rod-off-inside-stops", "--unit", "rod"];
    let with_rod_off = |verb| [&[verb][..], &rod_off].concat();
    let gauged = |unit, words| {
        let by = ["--by", "A", "--with", "pin", "--gauged", "1.20 mm", "--tolerance", "0.02"];
        [&["unit", "confirm", unit, "--checked", words][..], &by].concat()
    };
    let mut seen = BTreeSet::new();
    let jobs: Vec<(i32, Vec<&str>)> = vec![
        (0, vec!["ports"]),
        (0, vec!["demo", "--out", "demo"]),
        (3, with_rod_off("learn")),
        (3, with_rod_off("step")),
        (0, gauged("units/rod", "all")),
        (0, vec!["learn", "--replay", "units/rod/0001-learn"]),
        (0, vec!["friction", "--port", "virtual:sooted-ring"]),
        (0, vec!["learn", "--port", "virtual:healthy"]),
        (0, vec!["step", "--port", "virtual:healthy"]),
        (0, vec!["tune", "units/healthy/0002-step", "--out", "tuned.toml"]),
        (3, vec!["tune", "boost", "boost-step", "--engines", "2", "--generations", "1"]),
        (1, vec!["learn", "--port", "virtual:sooted-ring"]),
        (0, vec!["judge", "units/healthy/0002-step"]),
        (1, vec!["report", "units/sooted-ring"]),
        (0, vec!["unit", "list"]),
        (0, vec!["unit", "history", "units/rod"]),
        (0, vec!["unit", "attach", "units/rod", &sheets[0], "--by", "A", "--note", "parts"]),
        (0, vec!["unit", "compare", "units/rod", "units/healthy", "--out", "compared.html"]),
        (0, vec!["unit", "check", "units/rod"]),
        (0, vec!["sheet", "new", "units/rod"]),
        (0, vec!["sheet", "compare", &sheets[0], &sheets[1]]),
        (0, vec!["profile", "check", "bench-actuator-c"]),
        (0, gauged("units/healthy", "minimum-flow")),
        (0, vec!["profile", "limits", "--from", "units/rod", "units/healthy", "--gauge", "1.10 to 1.30 mm"]),
        (0, vec!["profile", "characterise", "--port", "virtual:healthy", "--unit", "unknown"]),
        (0, vec!["simulate"]),
        (
            0,
            vec![
                "simulate",
                "boost-step",
                "--with",
                "tuned.toml",
                "--parts",
                &sheets[1],
                "--out",
                "simulated",
            ],
        ),
        (0, vec!["monitor", "--port", "virtual:healthy", "--target", "0.5"]),
        (0, vec!["campaign", "boost-step", "--runs", "2"]),
        (0, vec!["campaign", "learn", "--runs", "1", "--only", "healthy"]),
        (0, vec!["campaign", "gauge", "--units", "2", "--setups", "2", "--learns", "2"]),
        (0, vec!["campaign", "gauge", "--units", "2", "--part", "1/9", "--out", "part"]),
        (0, vec!["schema"]),
        (0, vec!["schema", "verdict"]),
        (0, vec!["completions", "zsh"]),
        (0, vec!["manual"]),
        (2, vec!["manual", "nothing"]),
        (2, vec!["schema", "nothing"]),
        (2, vec!["no-such-verb"]),
        (2, vec!["judge"]),
        (2, vec!["judge", "nowhere"]),
        (2, vec!["learn", "--port", "virtual:nobody"]),
        (2, vec!["learn", "--port", "virtual:nobody/healthy"]),
    ];
    for (code, args) in &jobs {
        let (ended, document) = vanebench(args, at);
        assert_eq!(ended, *code, "{args:?}: {document:#}");
        seen.insert(checked(&document, &args.join(" ")).word());
    }
    // A world lost to a traced cause puts the verdict out of limits.
    let (ended, document) = vanebench(&["campaign", "guard", "--worlds", "3", "--out", "guard"], at);
    assert_eq!(ended, i32::from(document["lost"] != 0), "{document:#}");
    seen.insert(checked(&document, "campaign guard").word());
    let (_, document) = vanebench(&["match", &sheets[0], &sheets[1], "--runs", "2"], at);
    seen.insert(checked(&document, "match").word());
    for file in [
        "demo/job.json",
        "guard/verdict.json",
        "simulated/simulate.json",
        "demo/units/demo-unit/0001-learn/verdict.json",
    ] {
        let text = std::fs::read_to_string(at.join(file)).unwrap();
        checked(&serde_json::from_str(&text).unwrap(), file);
    }
    seen.insert(checked(&served(at), "rig").word());
    let all: BTreeSet<String> = Kind::value_variants().iter().map(|kind| kind.word()).collect();
    assert_eq!(seen, all, "each kind is printed once at least");
}

/// The first document of a rig that goes on until it is ended.
fn served(at: &Path) -> Value {
    let mut rig = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let mut rig =
        rig.args(["rig", "--stepped", "--json"]).current_dir(at).stdout(Stdio::piped()).spawn().unwrap();
    let out = BufReader::new(rig.stdout.take().unwrap());
    let document =
        serde_json::Deserializer::from_reader(out.take(1 << 20)).into_iter().next().unwrap().unwrap();
    rig.kill().unwrap();
    rig.wait().unwrap();
    document
}

#[test]
fn a_document_that_lacks_a_field_or_is_of_another_kind_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let (_, whole) =
        vanebench(&["campaign", "gauge", "--units", "2", "--setups", "2", "--learns", "2"], folder.path());
    let schema = schema(Kind::GaugeStudy);
    assert!(faults(&schema, &whole).is_empty());
    for field in ["kind", "version", "about", "seed", "gauge_study"] {
        let mut lacking = whole.clone();
        lacking.as_object_mut().unwrap().remove(field);
        assert!(!faults(&schema, &lacking).is_empty(), "{field} may be missing");
    }
    let mut foreign = whole.clone();
    foreign["kind"] = "campaign".into();
    assert!(!faults(&schema, &foreign).is_empty());
    let mut wrong = whole;
    wrong["gauge_study"][0]["by_anova"]["gauge"] = "much".into();
    assert!(!faults(&schema, &wrong).is_empty());
}

#[test]
fn an_error_is_a_document_only_where_json_was_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let output =
            Command::new(assert_cmd::cargo_bin!("vanebench")).args(args).current_dir(folder.path()).output();
        let output = output.unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(!output.stderr.is_empty(), "{args:?}: a person reads it too");
        output.stdout
    };
    assert!(run(&["judge"]).is_empty());
    assert!(run(&["judge", "--", "--json"]).is_empty());
    let document: Value = serde_json::from_slice(&run(&["judge", "--json", "--wat"])).unwrap();
    assert_eq!((document["kind"].as_str(), document["exit"].as_u64()), (Some("error"), Some(2)));
    assert!(document["error"].as_str().unwrap().contains("--wat"));
}
