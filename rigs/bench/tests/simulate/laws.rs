//! Boost laws beside each other, and beside the best found with foresight.

use std::fs;

use super::{told, vanebench};

#[test]
fn every_law_stands_side_by_side_under_its_own_name() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("mine.toml"), "[target]\nlaw = \"fixed-gain\"\n").unwrap();
    assert_eq!(vanebench(&["simulate", "tip-in", "--laws", "--out", "laws"], at).0, 0);
    assert_eq!(vanebench(&["simulate", "tip-in", "--with", "mine.toml", "--out", "mine"], at).0, 0);
    let csv = |file: &str| fs::read(at.join(file)).unwrap();
    assert_eq!(csv("laws/fixed-gain.csv"), csv("mine/mine.csv"));
    assert_ne!(csv("laws/map-trim.csv"), csv("laws/model-trim.csv"));
    let both = told(&["simulate", "tip-in", "--laws", "--with", "mine.toml"], at);
    let names: Vec<_> = both["runs"].as_array().unwrap().iter().map(|run| &run["controller"]).collect();
    assert_eq!(names, ["mine-map-trim", "mine-fixed-gain", "mine-model-trim"]);
}

#[test]
fn a_law_that_is_not_there_is_named_with_its_file_line_and_what_there_is() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("mine.toml"), "[target]\nlaw = \"fixed-gian\"\n").unwrap();
    let (code, _, said) = vanebench(&["simulate", "tip-in", "--with", "mine.toml", "--out", "out"], at);
    assert_eq!(code, 2, "{said}");
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for word in ["mine.toml", "2", "fixed-gian", "map-trim", "fixed-gain", "model-trim"] {
        assert!(said.contains(word), "{word} is missing in: {said}");
    }
    assert!(!at.join("out").exists());
}

/// Pedal down, three seconds in all: a search of seconds.
const SHORT_TIP_IN: &str = "name = \"short-tip-in\"\nabout = \"Pedal to the floor\"\nduration_s = 2.5\nwarm_up_s = 0.5\n\
    step_at_s = 0.5\n\n[[demand]]\nt_s = 0.0\nspeed_rpm = 1600\nfuel_mg = 10\n\n[[demand]]\nt_s = 0.5\n\
    speed_rpm = 1600\nfuel_mg = 36\n";

#[test]
fn the_best_found_with_foresight_beats_the_law_and_says_how_far_it_may_be_trusted() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("short.toml"), SHORT_TIP_IN).unwrap();
    let call = ["simulate", "short.toml", "--foresight=15", "--out", "out"];
    let document = told(&call, at);
    let error = |run: usize| document["runs"][run]["metrics"]["boost_iae_kpa_s"].as_f64().unwrap();
    assert!(error(1) < error(0), "{document:#}");
    let foresight = &document["foresight"];
    for gap in ["start_gap", "grid_gap"] {
        assert!(foresight[gap].as_f64().unwrap() >= 0.0, "{foresight:#}");
    }
    assert_eq!(foresight["costs_kpa_s"].as_array().unwrap().len(), 3, "{foresight:#}");
    assert!(!foresight["trade_off"].as_array().unwrap().is_empty(), "{foresight:#}");
    let page = fs::read_to_string(at.join("out/simulate.html")).unwrap();
    assert!(page.contains("Boost error against travel") && page.contains("no proven bound"));
    let member = ["simulate", "short.toml", "--seed", "5", "--member", "1"];
    let drawn = told(&[&member[..], &["--foresight=1"]].concat(), at);
    assert_eq!(drawn["runs"][0], told(&member, at)["runs"][0]);
    assert_ne!(drawn["runs"][0], document["runs"][0]);
    let (code, _, said) = vanebench(&["simulate", "exhaust-brake", "--foresight"], at);
    assert_eq!((code, said.contains("not boost control all through")), (2, true), "{said}");
}
