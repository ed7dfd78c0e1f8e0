//! A report on synthetic data, to look at and to check. `VANEBENCH_EXAMPLE=file.html cargo test -p vanebench
//! example_report` writes it.

use super::bench;
use super::friction::FrictionShown;
use super::lever::LeverTravel;
use super::{Front, Report, ReportSheet, Section, Table, UnitReport};
use crate::actuator::DEMO;
use crate::caution::CAUTIONS;
use crate::evaluate::{BoostTrace, LearnTrace};
use crate::figures::friction::FrictionCurve;
use crate::figures::step::{StepBands, StepResponse, StepTrace};
use crate::figures::sweep::SweepTable;
use crate::figures::{Figure, Measure, Sensor, Stop};
use crate::judge::{Evidence, Finding, judge};

const BANDS: StepBands = StepBands { moved: 0.001, settled: 0.005 };

fn sweep_table() -> SweepTable {
    let inputs: Vec<f64> = (0..11).map(|i| 2.0 + 9.6 * f64::from(i)).collect();
    let cycle = |sign: f64, c: f64| {
        let bow = |x: f64| (x / 100.0) * (1.0 - x / 100.0);
        inputs.iter().map(|x| x + sign * (0.12 + bow(*x)) + 0.02 * c - 0.1 * bow(*x)).collect::<Vec<_>>()
    };
    let up = (0..3).map(|c| cycle(-1.0, f64::from(c))).collect();
    let down = (0..3).map(|c| cycle(1.0, f64::from(c))).collect();
    SweepTable::try_new(inputs.clone(), up, down).unwrap()
}

fn friction_curve(scale: f64) -> FrictionCurve {
    let ramp = |sign: f64| -> Vec<(f64, f64)> {
        let friction =
            |x: f64| 0.21 + 0.02 * (x * 40.0).sin() + if (0.58..0.66).contains(&x) { 0.09 } else { 0.0 };
        (0..=4000)
            .map(|i| f64::from(i) / 4000.0)
            .map(|x| (x, scale * (sign * friction(x) - 0.35 - 0.28 * (1.0 - x))))
            .collect()
    };
    FrictionCurve::try_new(&ramp(1.0), &ramp(-1.0), 0.05).unwrap()
}

fn step(size: f64) -> StepTrace {
    let (wn, zeta): (f64, f64) = (45.0 - 30.0 * size.abs(), 0.6);
    let wd = wn * (1.0 - zeta * zeta).sqrt();
    let respond = |t: f64| {
        let t = (t - 0.012).max(0.0);
        1.0 - (-zeta * wn * t).exp() * ((wd * t).cos() + zeta * wn / wd * (wd * t).sin())
    };
    let start = 0.5 - size / 2.0;
    let readings =
        (1..1000).map(|ms| f64::from(ms) / 1000.0).map(|t| (t, start + size * respond(t))).collect();
    StepTrace {
        at: firmware_core::units::Tick(0),
        command_before: start,
        command_after: start + size,
        start,
        readings,
    }
}

fn learn_trace() -> LearnTrace {
    let mut trace = LearnTrace::default();
    let (closed, open) = (13_300.0, 2600.0);
    for ms in 0..6000_u32 {
        let t = f64::from(ms) / 1000.0;
        let stop_at =
            |from: f64, to: f64, begin: f64| from + (to - from) * ((t - begin) / 0.6).clamp(0.0, 1.0);
        let dip = |phase: f64| {
            if phase.fract() < 0.5 {
                320.0 * (phase.fract() * std::f64::consts::TAU).sin().abs()
            } else {
                0.0
            }
        };
        let position = match t {
            t if t < 1.0 => stop_at(7000.0, closed, 0.2),
            t if t < 3.0 => closed - dip((t - 1.0) * 1.5),
            t if t < 3.8 => stop_at(closed, open, 3.0),
            _ => open + dip((t - 3.8) * 1.5),
        };
        let push = if (1.0..3.0).contains(&t) {
            -1.2
        } else if t > 3.8 {
            1.2
        } else {
            0.3
        };
        trace.position.push((t, position));
        trace.current.push((t, push * if t.fract() < 0.5 { 1.0 } else { 0.45 }));
    }
    for i in 0..3 {
        trace.touches.push((1.45 + 0.66 * f64::from(i), closed, Stop::Closed));
        trace.touches.push((4.25 + 0.66 * f64::from(i), open, Stop::Open));
    }
    trace.windows =
        vec![(Stop::Closed, closed - 123.0, closed + 123.0), (Stop::Open, open - 123.0, open + 123.0)];
    trace
}

fn boost_trace() -> BoostTrace {
    let time = || (0..600).map(|i| f64::from(i) / 100.0);
    let rise = |t: f64| if t < 1.0 { 0.0 } else { 1.0 - (-(t - 1.0) / 0.6).exp() * ((t - 1.0) * 2.2).cos() };
    BoostTrace {
        boost: time().map(|t| (t, 120.0 + 90.0 * rise(t))).collect(),
        target: vec![(0.0, 120.0), (1.0, 120.0), (1.0, 210.0), (6.0, 210.0)],
        guard_limit: Some(240.0),
        opening: time().map(|t| (t, 0.55 - 0.3 * rise(t))).collect(),
        guard_stages: vec![(2.1, "guard: ease".into())],
    }
}

fn figures(steps: &[(StepTrace, StepResponse)]) -> Vec<Figure> {
    let mut figures = vec![
        Figure::new(Measure::Span, 10_703.2, ""),
        Figure::new(Measure::StopRepeatability(Stop::Closed), 0.021, ""),
        Figure::new(Measure::StopRepeatability(Stop::Open), 0.034, ""),
    ];
    figures.extend(
        sweep_table().figures(Sensor::Own, "11 points, 3 cycles, dwell 400 ms, last 100 ms averaged"),
    );
    figures.extend(friction_curve(1.0).figures("duty ramps of 4 s each way, 12.0 V"));
    figures.extend(
        steps
            .iter()
            .flat_map(|s| s.1.figures("held 1 s, movement beyond ±0.10 %, settled within ±0.50 % of travel")),
    );
    figures
}

fn report() -> UnitReport {
    let steps: Vec<_> = [0.02, -0.02, 0.1, -0.1, 0.5, -0.5]
        .map(|size| (step(size), step(size).evaluate(BANDS).unwrap()))
        .to_vec();
    let figures = figures(&steps);
    let findings = vec![Finding::incomplete("0003-friction", "link lost at tick 8123 (device unplugged)")];
    let limits = DEMO.limits().unwrap();
    let verdict = judge(&Evidence { figures, findings, ..Evidence::default() }, &limits, |_| true);
    let table =
        Table::new(&["operator", "part", "trial", "reading, % of travel"]).row(["1", "A <b>", "1", "0.39"]);
    let lever = LeverTravel::of(&DEMO.profile().unwrap(), None);
    let (current, duty) = (friction_curve(1.0), friction_curve(0.14));
    let friction =
        FrictionShown { current: &current, duty: &duty, holes: &[(0.2, 0.22)], limit: Some(0.45), lever };
    let front = Front {
        lever,
        sections: vec![Section::new("Pictures that say why").charts([bench::learned(&learn_trace())])],
        background: vec![("software".to_owned(), "vanebench 0.1.0".to_owned())],
    };
    let report = Report {
        subject: "demo".into(),
        kind: "bench report".into(),
        facts: [
            ("profile", "bench-actuator-a (invented)"),
            ("setup", "attached to the ring, cold"),
            ("rig", "virtual unit healthy, seed 7"),
            ("runs", "0001-learn, 0002-sweep, 0003-friction, 0004-step"),
            ("limits", "bench-actuator-a"),
            ("software", "vanebench 0.1.0"),
        ]
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
        .to_vec(),
        verdict: Some(verdict),
        sections: vec![
            bench::learn(&learn_trace()),
            bench::sweep(&sweep_table(), &[(40.4, 50.0)], Sensor::Own, lever),
            friction.section(),
            bench::steps(&steps, BANDS, lever),
            bench::boost(
                &boost_trace(),
                "2000 rpm, 25 mg per stroke, sea level. The engine is invented.",
                lever,
            ),
            Section::new("Any other table").table(table),
        ],
        sheet: Some(ReportSheet::blank()),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    };
    UnitReport { report, front }
}

#[test]
fn the_example_report_stands_alone_and_repeats_byte_for_byte() {
    let html = report().render().unwrap();
    assert_eq!(html, report().render().unwrap());
    for outside in ["http:", "https:", "<script", "<link", "@import", "url(\"", "src="] {
        assert!(!html.contains(outside), "{outside}");
    }
    assert!(html.contains("A &#60;b&#62;"), "table cells are escaped");
    assert!(!html.contains("NaN") && !html.contains("inf"), "no chart holds a number that is none");
    for told in
        ["not in the record along the bottom: 20.0 to 22.0", "40.4 to 50.0", "T86 ", "guard: ease at 2.1"]
    {
        assert!(html.contains(told), "{told} is missing in the words of a chart");
    }
    assert!(html.len() < 400_000, "{} bytes", html.len());
    if let Ok(path) = std::env::var("VANEBENCH_EXAMPLE") {
        std::fs::write(path, &html).unwrap();
    }
}

#[test]
fn the_verdict_comes_first_and_every_caution_is_printed() {
    let html = report().render().unwrap();
    let at = |text: &str| html.find(text).unwrap_or_else(|| panic!("{text} is missing"));
    let order = [
        "Undetermined",
        "Against the limits",
        "Pictures that say why",
        "Signed by a person",
        "How it was measured",
        "All figures",
        "Learning the end stops",
    ];
    assert!(order.windows(2).all(|pair| at(pair[0]) < at(pair[1])), "what is handed over comes first");
    for caution in CAUTIONS {
        at(&caution.replace('\'', "&#39;"));
    }
    assert!(at("IEC 61298-2, ISA-51.1") > at("What the figures mean"));
}
