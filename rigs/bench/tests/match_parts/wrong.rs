//! What cannot be matched, or only in part: named, with its cure, and in what is handed over.

use assert_cmd::Command;
use serde_json::Value;

use super::{flat, json, matched, sheet};

/// Every pressure says what it is: absolute, or a difference of two.
#[test]
fn every_pressure_of_a_match_is_called_absolute_or_is_a_difference() {
    const DIFFERENCES: [&str; 11] = [
        "bench_drop_kpa",
        "drop_kpa",
        "boost_difference_kpa",
        "exhaust_difference_kpa",
        "pumping_kpa",
        "boost_margin_kpa",
        "low_kpa",
        "high_kpa",
        "mean_kpa",
        "deviation_kpa",
        "range_kpa",
    ];
    fn keys(value: &Value, into: &mut Vec<String>) {
        match value {
            Value::Object(entries) => entries.iter().for_each(|(key, value)| {
                into.push(key.clone());
                keys(value, into);
            }),
            Value::Array(values) => values.iter().for_each(|value| keys(value, into)),
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
        }
    }
    let told = json(&mut matched(&sheet("ring-a.toml"), &sheet("ring-b.toml")));
    let mut all = Vec::new();
    keys(&told, &mut all);
    let of_pressure: Vec<String> = all.into_iter().filter(|key| key.contains("kpa")).collect();
    assert!(of_pressure.len() > 100, "{}", of_pressure.len());
    for key in of_pressure {
        assert!(key.ends_with("_kpa_absolute") || DIFFERENCES.contains(&key.as_str()), "{key}");
    }
    for standing in told["limits"].as_array().unwrap() {
        let limited = standing["limited"].as_str().unwrap();
        assert!(limited.ends_with("-kpa-absolute") || limited == "turbo-speed-rpm", "{limited}");
    }
    let figures = told["old"]["figures"].as_array().unwrap();
    let named =
        figures.iter().map(|figure| figure["name"].as_str().unwrap()).filter(|name| name.contains("kPa"));
    let named: Vec<&str> = named.collect();
    assert!(named.len() == 3 && named.iter().all(|name| name.ends_with("kPa absolute")), "{named:?}");
    let said = flat(&matched(&sheet("ring-a.toml"), &sheet("ring-b.toml")).output().unwrap().stdout);
    assert!(
        said.contains("of 280 kPa absolute") && said.contains("It is the bare air path in steady state"),
        "{said}"
    );
}

/// What was not met stands at the head of what is handed over.
#[test]
fn a_controller_for_areas_that_are_not_met_or_not_known_says_so_at_its_head() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("match");
    matched(&sheet("ring-a.toml"), &sheet("ring-c.toml")).arg("--out").arg(&out).assert().code(1);
    let controller = std::fs::read_to_string(out.join("controller.toml")).unwrap();
    let head: Vec<&str> = controller.lines().take_while(|line| line.starts_with('#')).collect();
    for words in ["# NOT MET: minimum flow:", "# NOT MET: openings", "# NOT KNOWN WELL ENOUGH: ring C"] {
        assert!(head.iter().any(|line| line.starts_with(words)), "{words} in {head:?}");
    }
    // Where the boost is not known to be reached there is no uncertainty of its time, and the row says so.
    let said = flat(&matched(&sheet("ring-a.toml"), &sheet("ring-c.toml")).output().unwrap().stdout);
    assert!(said.contains("not known: within the tolerances, boost may never get there"), "{said}");
}

/// Sheets and maps that cannot be read as such: file, line, what stands there, the cure; nothing written.
#[test]
fn hostile_sheets_and_maps_are_named_with_their_cure_and_nothing_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    let ring = std::fs::read_to_string(sheet("ring-a.toml")).unwrap();
    let map = std::fs::read_to_string(sheet("compressor-map.csv")).unwrap();
    let pounds = map.lines().map(|line| match line.split_once(',') {
        Some((rpm, rest)) if rpm.parse::<f64>().is_ok() => {
            let (flow, rest) = rest.split_once(',').unwrap();
            format!("{rpm},{},{rest}\n", 2.2046 * flow.parse::<f64>().unwrap())
        }
        _ => format!("{line}\n"),
    });
    let sheets = [
        (ring.replace("vanes = 11", "vanes = 11\nvanes = 12"), "duplicate key, where it says `vanes = 12`"),
        (String::new(), "`sheet new FILE.toml` writes an empty sheet"),
        (ring.replace("tol = 0.02", "tol = inf"), "tol is inf; it must be a finite number"),
        (
            ring.replace("height = { mm = 6.0", "height = { mm = nan"),
            "value is NaN; it must be a finite number",
        ),
        (
            ring.clone() + "\n[teardown]\naxial_play = { mm = 0.05, tol = 0.01 }\nphotos = 3\n",
            "teardown.photos",
        ),
    ];
    let out = at("out");
    let refused = |command: &mut Command, words: &str| {
        let said = command.arg("--out").arg(&out).assert().code(2).get_output().stderr.clone();
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(said.contains(words) && !out.exists(), "{words} in {said}");
    };
    for (text, words) in sheets {
        std::fs::write(at("bad.toml"), text).unwrap();
        refused(&mut matched(&sheet("ring-a.toml"), &at("bad.toml")), words);
    }
    refused(&mut matched(&sheet("ring-a.toml"), dir.path()), "is a folder; name a file in it");
    for (text, words) in [
        (pounds.collect::<String>().into_bytes(), "Was the flow in lb/s"),
        ([&b"# pref_Pa=101325\n"[..], map.as_bytes()].concat(), "pref_Pa is already in line 1"),
        (vec![0xff, 0xfe, 0, 7], "bad.csv: is not text: byte 1"),
        (vec![b'#'; 2 << 20], "bad.csv: is too large"),
    ] {
        std::fs::write(at("bad.csv"), text).unwrap();
        let mut command = matched(&sheet("ring-a.toml"), &sheet("ring-a.toml"));
        refused(command.arg("--new-map").arg(at("bad.csv")), words);
    }
}
