//! One call of every verb, and the verbs that there are.

use std::fs;
use std::path::Path;

/// A call of a verb, and the files that it hands over.
pub(crate) type Call = (&'static [&'static str], &'static [&'static str]);

/// One call of every verb at least, in an order in which each finds what it needs.
pub(crate) const CALLS: [Call; 41] = [
    (&["demo", "--out", "demo"], &[]),
    (&["ports"], &[]),
    (&["monitor", "--port", "virtual:healthy"], &[]),
    (&["bench", "--port", "virtual:rod-off-inside-stops", "--unit", "u2"], &[]),
    (&["rig", "nobody-of-this-name"], &[]),
    (&["learn", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["learn", "--replay", "units/u1/0001-learn"], &[]),
    (
        &[
            "unit",
            "confirm",
            "units/u1",
            "--checked",
            "all",
            "--by",
            "A",
            "--with",
            "pin",
            "--gauged",
            "1.20 mm",
            "--tolerance",
            "0.02",
        ],
        &["units/u1/confirmed.toml"],
    ),
    (
        &[
            "unit",
            "confirm",
            "units/u2",
            "--checked",
            "all",
            "--by",
            "A",
            "--with",
            "pin",
            "--gauged",
            "1.21 mm",
            "--tolerance",
            "0.02",
        ],
        &["units/u2/confirmed.toml"],
    ),
    (&["sweep", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["friction", "--port", "virtual:rod-off-inside-stops", "--unit", "u1"], &[]),
    (&["step", "--port", "virtual:healthy"], &[]),
    (&["cycle", "--port", "virtual:rod-off-inside-stops", "--unit", "u1", "--strokes", "2"], &[]),
    (&["tune", "demo/units/demo-unit/0004-step", "--out", "tuned.toml"], &["tuned.toml"]),
    (&["tune", "boost", "boost-step", "--engines", "2", "--generations", "1"], &[]),
    (
        &["match", "ring-a.toml", "ring-b.toml", "--runs", "2", "--out", "matched"],
        &["matched/controller.toml", "matched/opening-map.csv"],
    ),
    (&["judge", "units/u1"], &[]),
    (&["report", "units/u1"], &[]),
    (&["simulate"], &[]),
    (&["campaign", "boost-step", "--runs", "1"], &[]),
    (&["campaign", "learn", "--runs", "1", "--only", "healthy"], &[]),
    (
        &[
            "campaign",
            "learn",
            "--runs",
            "1",
            "--only",
            "worn-joint",
            "--only",
            "weak-motor",
            "--ablate",
            "--two-faults",
            "2",
        ],
        &[],
    ),
    (&["campaign", "guard", "--worlds", "1"], &[]),
    (&["campaign", "gauge", "--units", "2", "--setups", "2", "--learns", "2"], &[]),
    (&["campaign", "boost-step", "--runs", "2", "--part", "1/1", "--out", "part"], &[]),
    (&["campaign", "merge", "part"], &[]),
    (&["unit", "list"], &[]),
    (&["unit", "history", "units/u1"], &[]),
    (&["unit", "attach", "units/u1", "ring-a.toml", "--by", "A", "--note", "sheet"], &[]),
    (&["unit", "compare", "units/u1", "units/u1/0001-learn"], &[]),
    (&["unit", "check", "units/u1"], &[]),
    (&["unit", "explain", "units/u1", "0001-learn", "--by", "A", "--why", "power cut"], &[]),
    (&["sheet", "new", "units/u1"], &[]),
    (&["sheet", "new", "empty.toml"], &[]),
    (&["sheet", "compare", "ring-a.toml", "ring-b.toml"], &[]),
    (&["profile", "check", "bench-actuator-b"], &[]),
    (
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
        &["drafted.toml"],
    ),
    (&["profile", "characterise", "--port", "virtual:healthy", "--unit", "u3", "--rated-voltage", "24"], &[]),
    (&["schema"], &[]),
    (&["completions", "bash"], &[]),
    (&["manual", "learn"], &[]),
];

/// Every verb as it is called, `campaign learn` and the like included.
pub(crate) fn leaves(command: &clap::Command, before: &[String]) -> Vec<Vec<String>> {
    let inner: Vec<_> = command.get_subcommands().filter(|inner| inner.get_name() != "help").collect();
    let deeper = inner.iter().flat_map(|inner| {
        let path = [before, &[inner.get_name().to_owned()]].concat();
        leaves(inner, &path)
    });
    let own =
        (inner.is_empty() || command.get_arguments().any(clap::Arg::is_positional)).then(|| before.to_vec());
    deeper.chain(own).collect()
}

/// Puts the parts sheets there that the calls read.
pub(crate) fn lay_down_sheets(at: &Path) {
    let sheets = Path::new(env!("CARGO_MANIFEST_DIR")).join("../profiles/sheets");
    for sheet in ["ring-a.toml", "ring-b.toml"] {
        fs::copy(sheets.join(sheet), at.join(sheet)).unwrap();
    }
}
