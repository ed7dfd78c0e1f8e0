//! What the engine would see, in rows and words: load steps, the same boost, what moves it.

use parts::matching::{
    AirComparison, Bar, LimitedValue, PointUncertainty, Reached, Response, SameBoost, Sensitivity, Study,
};

use super::limits;
use super::rows::row;
use crate::number::{number, with_uncertainty};

/// What the engine runs leave out.
pub(super) const BARE_AIR_PATH: &str = "It is the bare air path in steady state: without heat soak, \
    intercooler, the vanes' effect on turbine efficiency and their lag. simulate --parts and campaign \
    --parts include them.";
/// Expanded uncertainty over standard uncertainty, for saying that two values differ (JCGM 100:2008, 6.2.1).
const COVERAGE: f64 = 2.0;

/// What each turbo gave at each load step: the columns behind step and turbo.
fn load_step_rows<const N: usize>(
    study: &Study,
    head: [&str; N],
    of: impl Fn(&Response) -> [String; N],
) -> Vec<Vec<String>> {
    let line = |step: &str, turbo: &str, cells: [String; N]| {
        [step.to_owned(), turbo.to_owned()].into_iter().chain(cells).collect::<Vec<String>>()
    };
    let mut rows = vec![line("load step, simulated", "turbo, at opening", head.map(String::from))];
    for run in &study.air {
        let (old, new) = (run.point.old_opening, run.new_opening);
        let ways = [
            (format!("old at {old:.2}"), &run.old),
            (format!("not re-mapped, {old:.2}"), &run.new_before),
            (format!("re-mapped, {new:.2}"), &run.new_after),
        ];
        rows.extend(ways.map(|(turbo, response)| line(run.point.name, &turbo, of(response))));
    }
    rows
}

/// Pressures at the load steps, three ways, head first.
pub(super) fn pressure_rows(study: &Study) -> Vec<Vec<String>> {
    let head = ["boost, kPa absolute", "after 1 s, kPa absolute", "exhaust (peak), kPa absolute"];
    load_step_rows(study, head, |response| {
        [
            format!("{:.0}", response.boost_kpa),
            format!("{:.0}", response.boost_after_kpa),
            format!("{:.0} ({:.0})", response.exhaust_kpa, response.exhaust_peak_kpa),
        ]
    })
}

/// How the wheels run at the load steps, three ways, head first.
pub(super) fn wheel_rows(study: &Study) -> Vec<Vec<String>> {
    load_step_rows(study, ["turbo peak, rpm", "U/C0", "gas on wheel, °"], |response| {
        let angle = response.wheels.relative_angle_deg;
        [
            limits::shown(LimitedValue::TurboSpeed, response.turbo_rpm),
            format!("{:.2}", response.wheels.blade_speed_ratio),
            angle.map_or_else(|| "–".into(), |deg| format!("{deg:+.0}")),
        ]
    })
}

/// Is a difference known to differ from zero, and which way.
pub(super) fn difference(value: f64, uncertainty: f64, [more, less]: [&str; 2]) -> String {
    if value.abs() <= COVERAGE * uncertainty {
        "within the uncertainty".to_owned()
    } else if value > 0.0 {
        more.to_owned()
    } else {
        less.to_owned()
    }
}

/// How much later the re-mapped turbo comes to the common boost, s, and what is known of it.
pub(super) fn later(same: &SameBoost, known: &PointUncertainty) -> [String; 2] {
    let later_s = same.new_after.time_s - same.old.time_s;
    match known.sooner_s {
        Some(u) => [with_uncertainty(later_s, u), difference(later_s, u, ["later", "sooner"])],
        None => [
            format!("{later_s:.2}"),
            "not known: within the tolerances, boost may never get there".to_owned(),
        ],
    }
}

/// Old and new at the same boost, head first.
pub(super) fn same_boost_rows(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row([
        "to the same boost",
        "kPa absolute",
        "s: old / not re-mapped / re-mapped",
        "new less old, s",
    ])];
    for (run, known) in study.air.iter().zip(&study.uncertainty.points) {
        let Some(same) = &run.same_boost else { continue };
        let [value, verdict] = later(same, known);
        let seconds = [&same.old, &same.new_before, &same.new_after].map(|r| format!("{:.2}", r.time_s));
        rows.push(vec![
            run.point.name.to_owned(),
            format!("{:.0}", same.boost_kpa),
            seconds.join(" / "),
            format!("{value}, {verdict}"),
        ]);
    }
    rows
}

/// What the pistons and the rotor pay for that boost, head first.
pub(super) fn cost_rows(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row([
        "at that boost: old / not re-mapped / re-mapped",
        "exhaust, kPa absolute",
        "exhaust less boost, kPa",
        "into the rotor, J",
    ])];
    for run in &study.air {
        let Some(same) = &run.same_boost else { continue };
        let three = |of: fn(&Reached) -> f64| {
            [&same.old, &same.new_before, &same.new_after].map(|r| format!("{:.0}", of(r))).join(" / ")
        };
        rows.push(vec![
            run.point.name.to_owned(),
            three(|r| r.exhaust_kpa),
            three(|r| r.pumping_kpa),
            three(|r| r.spool_j),
        ]);
    }
    rows
}

/// New less old at the end of each load step, re-mapped, with what is known of it, head first.
pub(super) fn change_rows(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row(["new less old, re-mapped", "boost, kPa", "exhaust, kPa"])];
    rows.extend(study.air.iter().zip(&study.uncertainty.points).map(change_row));
    rows
}

fn change_row((run, known): (&AirComparison, &PointUncertainty)) -> Vec<String> {
    let boost = run.new_after.boost_kpa - run.old.boost_kpa;
    let exhaust = run.new_after.exhaust_kpa - run.old.exhaust_kpa;
    let shown = |change: f64, u: f64| {
        format!("{}, {}", with_uncertainty(change, u), difference(change, u, ["more", "less"]))
    };
    vec![run.point.name.to_owned(), shown(boost, known.boost_kpa), shown(exhaust, known.exhaust_kpa)]
}

/// Shortest bar that a person is told of, kPa.
const BAR_COUNTS_FROM_KPA: f64 = 0.1;

/// The bars of the tornado that are long enough to tell, longest first.
pub(super) fn bars_that_count(sensitivity: &Sensitivity) -> impl Iterator<Item = &Bar> {
    sensitivity.bars.iter().take_while(|bar| bar.span_kpa() >= BAR_COUNTS_FROM_KPA)
}

/// The longest bars of the tornado, head first.
pub(super) fn bar_rows(sensitivity: &Sensitivity, shown: usize) -> Vec<Vec<String>> {
    let mut rows =
        vec![row(["what moves boost 1 s after tip-in, new less old", "at low end, kPa", "at high end, kPa"])];
    rows.extend(bars_that_count(sensitivity).take(shown).map(|bar| {
        let mark = if bar.estimated { " (estimated: measure it)" } else { "" };
        // Zero has one sign.
        let tenths = |kpa: f64| format!("{:+.1}", (10.0 * kpa).round() / 10.0 + 0.0);
        vec![format!("{}{mark}", bar.name), tenths(bar.low_kpa), tenths(bar.high_kpa)]
    }));
    rows
}

/// All errors at once, in a sentence.
pub(super) fn spread(sensitivity: &Sensitivity) -> String {
    let spread = &sensitivity.campaign;
    let (old, new) = sensitivity.nominal_kpa;
    format!(
        "Boost 1 s after tip-in: old {old:.1}, new {new:.1} kPa absolute. With all errors at once ({} \
         draws, seed {}): new minus old {} kPa, from {} to {} kPa",
        spread.runs,
        spread.seed,
        with_uncertainty(spread.mean_kpa, spread.deviation_kpa),
        number(spread.range_kpa.0),
        number(spread.range_kpa.1)
    )
}
