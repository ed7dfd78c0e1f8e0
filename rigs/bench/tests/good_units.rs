//! `profile limits`: limits from units that a person gauged, and from no others.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

fn run(at: &Path, args: &[&str]) -> (i32, Value) {
    let mut tool = Command::new(assert_cmd::cargo_bin!("vanebench"));
    let output = tool.arg("--json").args(args).current_dir(at).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    let document = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}\n{said}"));
    (output.status.code().unwrap(), document)
}

/// Learns a unit; gauges it where a reading is given.
fn unit(at: &Path, name: &str, seed: &str, reading: Option<&str>) {
    let (code, said) = run(at, &["learn", "--port", "virtual:healthy", "--unit", name, "--seed", seed]);
    assert_eq!(code, 0, "{said:#}");
    let Some(reading) = reading else { return };
    let dir = format!("units/{name}");
    let confirmed = ["--checked", "minimum-flow", "--by", "A", "--with", "pin", "--gauged", reading];
    let (code, said) =
        run(at, &[&["unit", "confirm", &dir], &confirmed[..], &["--tolerance", "0.02"]].concat());
    assert_eq!(code, 0, "{said:#}");
}

fn limit<'a>(document: &'a Value, key: &str) -> &'a Value {
    document["limits"].as_array().unwrap().iter().find(|limit| limit["key"] == key).unwrap()
}

#[test]
fn only_gauged_units_make_limits_and_the_tool_takes_them() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for (name, seed, reading) in [
        ("u1", "1", None),
        ("u1", "11", Some("1.20 mm")),
        ("u2", "2", Some("1.21 mm")),
        ("u3", "3", Some("1.19 mm")),
        ("near", "4", Some("1.29 mm")),
        ("off", "5", Some("1.40 mm")),
        ("bare", "6", None),
    ] {
        unit(at, name, seed, reading);
    }
    let from = ["units/u1", "units/u2", "units/u3", "units/near", "units/off", "units/bare"];
    let limits = |more: &[&str]| {
        let gauge = ["--gauge", "1.10 to 1.30 mm", "--out", "drafted.toml"];
        run(at, &[&["profile", "limits", "--from"], &from[..], &gauge, more].concat())
    };
    let (code, said) = limits(&["--method", "distribution-free"]);
    assert_eq!((code, at.join("drafted.toml").exists()), (3, false), "{said:#}");
    assert!(limit(&said, "learn.span")["why_none"].as_str().unwrap().contains("93 are needed"), "{said:#}");
    let (code, said) = limits(&[]);
    assert_eq!(code, 0, "{said:#}");
    assert_eq!(said["units"].as_array().unwrap().len(), 3);
    let left_out = said["left_out"].as_array().unwrap().iter().map(|line| line.as_str().unwrap());
    let left_out: Vec<&str> = left_out.collect();
    for (line, part) in left_out.iter().zip(["nearer to the edge", "outside", "was not gauged"]) {
        assert!(line.contains(part), "{left_out:?}");
    }
    let span = limit(&said, "learn.span");
    assert_eq!((span["units"].as_u64(), span["runs"].as_u64()), (Some(3), Some(4)));
    // Two-sided k for three units, 95 % at 95 % (ISO 16269-6: 9.7888).
    assert!((span["factor"].as_f64().unwrap() - 9.788_752).abs() < 1e-6, "{span:#}");
    let text = fs::read_to_string(at.join("drafted.toml")).unwrap();
    assert!(text.contains("# [settings.learn.windows.attached.cold]"), "{text}");
    assert!(!text.contains("[limit.learn.closed_stop]"), "{text}");
    let (code, judged) = run(at, &["judge", "units/u2", "--limits", "drafted.toml"]);
    assert_eq!(code, 0, "{judged:#}");
    let check =
        judged["checks"].as_array().unwrap().iter().find(|check| check["key"] == "learn.span").unwrap();
    let known = &check["bounds"]["expanded_uncertainty"];
    assert_eq!(known, &span["bounds"]["expanded_uncertainty"]);
    assert!(
        check["risk"].as_f64().unwrap() < 0.022_751 && judged["rule"]["coverage_factor"] == 2.0,
        "{check:#}"
    );
}

#[test]
fn one_good_unit_makes_no_limits() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    unit(at, "u1", "1", Some("1.20 mm"));
    unit(at, "u2", "2", None);
    let (code, said) = run(
        at,
        &[
            "profile",
            "limits",
            "--from",
            "units/u1",
            "units/u2",
            "--gauge",
            "1.10 to 1.30 mm",
            "--out",
            "drafted.toml",
        ],
    );
    assert_eq!((code, at.join("drafted.toml").exists()), (3, false), "{said:#}");
    let error = said["error"].as_str().unwrap();
    assert!(error.contains("at least two") && error.contains("u2: its"), "{error}");
    let twice = ["profile", "limits", "--from", "units/u1", "units/u2/../u1", "--gauge", "1.10 to 1.30 mm"];
    let (code, said) = run(at, &twice);
    assert!(code == 2 && said["error"].as_str().unwrap().contains("twice"), "{said:#}");
}
