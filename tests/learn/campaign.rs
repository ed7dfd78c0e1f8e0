//! The learn campaign: a short one run here, and the committed long one read.
//!
//! The long one (`tests/reference/learn/campaign.json`) is made by `tests/reference/renew-campaigns`, with the thresholds
//! frozen; the seed stands in it.

use firmware_core::settings::{Settings, StopWindow};
use study::campaign::learn::{
    ERROR_STEP_ENDS, FaultTally, LearnCampaign, LearnExtras, LearnRuns, SignRow, TOLERANCE, ablation,
    campaign, two_faults,
};
use study::campaign::{Next, PartOrder};
use study::catalogue;
use vanebench_checks::{assert_near, reference_dir};

fn plan(names: &[&str], runs: u64) -> LearnRuns {
    let preset = |name: &&str| catalogue::find(name).expect("a name of the catalogue");
    LearnRuns {
        presets: names.iter().map(preset).collect(),
        nominal: catalogue::nominal_unit(),
        settings: Settings::default(),
        runs,
        seed: 99,
    }
}

fn short(name: &str, runs: u64) -> FaultTally {
    let counted = campaign(&plan(&[name], runs), &PartOrder::WHOLE, |_| Next::GoOn)
        .expect("no world runs away")
        .counted;
    counted.finish().remove(0)
}

#[test]
fn a_short_campaign_believes_no_wrong_stop() {
    let names = ["healthy", "closed-stop-shifted-in", "loose-stop", "sensor-gain", "blocked-travel"];
    let result =
        LearnCampaign::new(("A", 99, 12), names.map(|name| short(name, 12)).to_vec(), LearnExtras::default());
    assert_eq!(result.wrongly_accepted.count, 0, "{:?}", result.failures());
    assert_eq!(result.accepted_unproven.count, 0, "{:?}", result.failures());
    assert_eq!(result.wrongly_rejected.count, 0, "{:?}", result.failures());
}

#[test]
fn acceptance_falls_from_all_to_none_before_a_shifted_stop_is_wrong() {
    let shifted = short("closed-stop-shifted-in", 300);
    let shares: Vec<f64> = shifted
        .curves
        .by_error
        .iter()
        .map(|step| step.believed())
        .map(|rate| rate.count as f64 / rate.of as f64)
        .collect();
    assert!(shares[0] > 0.9, "{shares:?}");
    let within = ERROR_STEP_ENDS.iter().filter(|end| **end <= TOLERANCE).count();
    assert!(shares[within..].iter().all(|share| *share == 0.0), "{shares:?}");
}

#[test]
fn the_window_and_the_span_cover_for_each_other_and_without_both_a_wrong_stop_is_believed() {
    let plan = plan(&["healthy", "closed-stop-shifted-in"], 12);
    let rows = ablation(&plan, &|_| Next::GoOn).unwrap().unwrap();
    let without = |what: &str| -> &SignRow { rows.iter().find(|row| row.without.starts_with(what)).unwrap() };
    let believed = |what: &str| without(what).believed;
    assert_eq!((believed("nothing"), believed("windows,"), believed("span")), (0, 0, 0));
    assert!(believed("windows and span") > 0);
    assert_eq!(without("windows and span").most, Some("closed-stop-shifted-in"));
    assert!(ablation(&plan, &|_| Next::Stop).unwrap().is_none());
}

#[test]
fn two_faults_at_once_are_not_believed_where_a_stop_is_wrong() {
    let mut plan = plan(&[], 1);
    plan.presets = catalogue::all().collect();
    let pairs = two_faults(&plan, 300, &|_| Next::GoOn).unwrap().unwrap();
    assert_eq!(pairs.wrongly_accepted.count, 0, "{:?}", pairs.wrong);
    assert!(pairs.endings.accepted > 0 && pairs.endings.refused > 200, "{:?}", pairs.endings);

    let learn = &mut plan.settings.learn;
    (learn.limits.span_min, learn.limits.span_max) = (0.5, 1.5);
    for windows in [&mut learn.windows.attached.cold, &mut learn.windows.attached.hot] {
        windows.closed = StopWindow::around(13_331, 1230);
        windows.open = StopWindow::around(2569, 1230);
    }
    let blind = two_faults(&plan, 300, &|_| Next::GoOn).unwrap().unwrap();
    assert!(blind.wrongly_accepted.count > 0 && !blind.wrong.is_empty());
}

#[test]
fn a_campaign_gives_the_same_tally_on_one_thread_and_on_three() {
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| serde_json::to_string(&short("soot-at-closed-stop", 60)).unwrap())
    };
    assert_eq!(on(1), on(3));
}

fn committed() -> serde_json::Value {
    let text = std::fs::read_to_string(reference_dir().join("learn/campaign.json")).expect("it is committed");
    serde_json::from_str(&text).expect("it is JSON")
}

#[test]
fn the_committed_campaign_covers_the_catalogue_and_believed_no_wrong_stop() {
    let committed = committed();
    let faults = committed["faults"].as_array().unwrap();
    let names: Vec<&str> = faults.iter().map(|fault| fault["name"].as_str().unwrap()).collect();
    let catalogue: Vec<&str> = catalogue::all().map(|preset| preset.name).collect();
    assert_eq!(names, catalogue, "the catalogue changed: run the campaign again");
    for fault in faults {
        let name = &fault["name"];
        let count = |key: &str| fault[key].as_u64().unwrap();
        assert_eq!(count("runs"), 1000, "{name}");
        assert_eq!(count("wrongly_accepted"), 0, "{name}");
        assert!(count("wrongly_rejected") <= 10, "{name}: more than 1 % of sound units refused");
        let refused: u64 = fault["rejected"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
        assert!(count("other_reason") * 20 <= refused, "{name}: fewer than 95 % of reasons fit");
    }
    let steps = committed["by_error"].as_array().unwrap();
    assert_eq!(steps.len(), ERROR_STEP_ENDS.len() + 1);
    let sum = |key: &str| steps.iter().map(|step| step[key].as_u64().unwrap()).sum::<u64>();
    assert_eq!(sum("accepted_wrongly"), 0);
    assert!(sum("accepted") > 1000 && sum("refused") > 10_000);
    let bound = committed["wrongly_accepted"]["bounds"][1].as_f64().unwrap();
    let runs = committed["wrongly_accepted"]["of"].as_u64().unwrap();
    assert!(runs >= 40_000, "{runs} must-reject runs");
    assert_near("exact bound for none", bound, 1.0 - 0.025_f64.powf(1.0 / runs as f64), 1e-6);
}
