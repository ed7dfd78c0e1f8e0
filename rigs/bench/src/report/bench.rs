//! The sections of a bench report: learn, sweep, step, simulated boost; friction has a file of its own.
//!
//! In: plain traces and tables. Out: sections with their charts.

use super::chart::{Axis, Chart, ChartMark, Ink};
use super::lever::LeverTravel;
use super::section::{Section, Table};
use crate::evaluate::{BoostTrace, LearnTrace, SweepPart};
use crate::figures::motion::Reversal;
use crate::figures::step::{StepBands, StepResponse, StepTrace, T63_SHARE, T86_SHARE};
use crate::figures::sweep::SweepTable;
use crate::figures::{Sensor, Stop, VaneDirection, extent};

/// Axis of openings.
pub(super) const TRAVEL: &str = "opening, % of travel";
const COMMAND: &str = "command, % of travel";
const DEVIATION: &str = "deviation, % of travel";

/// Learn trace with its touches.
#[must_use]
pub fn learn(trace: &LearnTrace) -> Section {
    let current = Chart::new(
        "Motor current while learning",
        learn_time(trace),
        Axis::with_zero("motor current, A; positive opens"),
    )
    .trace("", Ink::Main, trace.current.clone());
    let near = trace.windows.iter().map(|window| near_stop(trace, *window));
    Section::new("Learning the end stops").charts([learned(trace)]).charts(near).charts([current])
}

/// The whole learn with its touches.
pub(super) fn learned(trace: &LearnTrace) -> Chart {
    let title = "Position while learning, touches marked";
    let whole = Chart::new(title, learn_time(trace), Axis::fit("position, counts")).trace(
        "position",
        Ink::Main,
        trace.position.clone(),
    );
    [Stop::Closed, Stop::Open].into_iter().fold(whole, |chart, stop| {
        chart.dots(&format!("touches, {stop} stop"), ink_of(stop), touches(trace, stop))
    })
}

fn learn_time(trace: &LearnTrace) -> Axis {
    Axis::fixed("time, s", 0.0, trace.position.last().map_or(1.0, |p| p.0))
}

/// The same trace, so near that the touches can be told apart.
fn near_stop(trace: &LearnTrace, (stop, low, high): (Stop, f64, f64)) -> Chart {
    /// Share of the window's width shown beyond it.
    const AROUND: f64 = 0.35;
    let around = AROUND * (high - low);
    let touches = touches(trace, stop);
    // Touches outside the window are what the reader must see.
    let touched = touches.iter().map(|t| t.1);
    let (bottom, top) = extent(touched.chain([low, high])).unwrap_or((low, high));
    let (first, last) = match (touches.first(), touches.last()) {
        (Some(first), Some(last)) => (first.0, last.0),
        _ => (0.0, trace.position.last().map_or(1.0, |p| p.0)),
    };
    let margin = 0.25 * (last - first).max(0.2);
    let (from, to) = (first - margin, last + margin);
    let position = trace.position.iter().filter(|p| (from..=to).contains(&p.0)).copied().collect();
    let y = Axis::fixed("position, counts", bottom - around, top + around);
    Chart::new(&format!("Near the {stop} stop"), Axis::fixed("time, s", from, to), y)
        .band("window", Ink::Other, vec![(from, low, high), (to, low, high)])
        .trace("position", Ink::Main, position)
        .dots("touches", ink_of(stop), touches)
        .half()
}

fn ink_of(stop: Stop) -> Ink {
    match stop {
        Stop::Closed => Ink::Closing,
        Stop::Open => Ink::Opening,
    }
}

fn touches(trace: &LearnTrace, stop: Stop) -> Vec<(f64, f64)> {
    trace.touches.iter().filter(|t| t.2 == stop).map(|t| (t.0, t.1)).collect()
}

/// Sweep loop, and its deviations with the hysteresis band; holes are pairs of commands.
#[must_use]
pub fn sweep(table: &SweepTable, holes: &[(f64, f64)], sensor: Sensor, lever: LeverTravel) -> Section {
    let note = match sensor {
        Sensor::Own => {
            "Read with the unit's own sensor, which also closes the loop, so this is the error that the \
             loop leaves. It cannot show the sensor's own linearity; that needs an independent gauge on \
             the lever."
        }
        Sensor::LeverGauge => "Read with an independent gauge on the lever.",
    };
    let charts = [sweep_loop(table, lever), deviation(table, lever)];
    Section::new("Sweep").text(note).charts(charts.map(|chart| chart.holes(holes.iter().copied())))
}

fn sweep_loop(table: &SweepTable, lever: LeverTravel) -> Chart {
    let curve = |averages: Vec<f64>| table.inputs().iter().copied().zip(averages).collect();
    let travel = lever.on(Axis::fixed(TRAVEL, 0.0, 100.0));
    Chart::new("Opening against command", Axis::fixed(COMMAND, 0.0, 100.0), travel)
        .line("opening", Ink::Opening, curve(table.average_up()))
        .line("closing", Ink::Closing, curve(table.average_down()))
        .half()
}

/// Deviations of a sweep with the hysteresis band.
pub(super) fn deviation(table: &SweepTable, lever: LeverTravel) -> Chart {
    let inputs = table.inputs();
    let against = |averages: Vec<f64>| inputs.iter().copied().zip(averages).collect::<Vec<_>>();
    let (up, down) = (against(table.average_up()), against(table.average_down()));
    let error = |curve: &[(f64, f64)]| curve.iter().map(|(x, y)| (*x, y - x)).collect::<Vec<_>>();
    let band = up.iter().zip(&down).map(|(u, d)| (u.0, u.1.min(d.1) - u.0, u.1.max(d.1) - u.0)).collect();
    let (hysteresis, at) = table.hysteresis();
    let average = table.average_curve().iter().find(|p| p.0 == at).map_or(0.0, |p| p.1 - p.0);
    let axis = Axis::fixed(COMMAND, 0.0, 100.0);
    Chart::new("Deviation, and the hysteresis band", axis, lever.on(Axis::with_zero(DEVIATION)))
        .band("hysteresis", Ink::Other, band)
        .dots("", Ink::Opening, readings(table, VaneDirection::Opening))
        .dots("", Ink::Closing, readings(table, VaneDirection::Closing))
        .line("opening", Ink::Opening, error(&up))
        .line("closing", Ink::Closing, error(&down))
        .with(ChartMark::Label {
            x: at,
            y: average,
            ink: Ink::Command,
            text: format!("{hysteresis:.2} % = {}", lever.text(hysteresis)),
        })
        .half()
}

/// A staircase of which no cycle is whole: what was read, and nothing made of it.
#[must_use]
pub(super) fn sweep_in_part(part: &SweepPart, lever: LeverTravel) -> Section {
    Section::new("Sweep")
        .text("The record holds no complete cycle, so nothing was computed from these readings.")
        .charts([part_deviation(part, lever)])
}

/// What was read, pass by pass.
pub(super) fn part_deviation(part: &SweepPart, lever: LeverTravel) -> Chart {
    let axis = lever.on(Axis::with_zero(DEVIATION));
    let chart = Chart::new("Deviation, as far as recorded", Axis::fixed(COMMAND, 0.0, 100.0), axis);
    part.passes.iter().fold(chart.holes(part.missing.clone()).half(), |chart, pass| {
        let points: Vec<_> = pass.iter().map(|(command, reading)| (*command, reading - command)).collect();
        chart.dots("readings", Ink::Main, points.clone()).line("", Ink::Main, points)
    })
}

fn readings(table: &SweepTable, direction: VaneDirection) -> Vec<(f64, f64)> {
    let cycles = (0..table.cycles()).filter_map(|c| table.cycle(c));
    cycles
        .flat_map(|(up, down)| {
            let readings = if direction == VaneDirection::Opening { up } else { down };
            table.inputs().iter().zip(readings).map(|(x, y)| (*x, y - x)).collect::<Vec<_>>()
        })
        .collect()
}

/// Opening against command in a slow reversal: the flat parts after each turn are the dead band.
pub(super) fn reversal(reversal: &Reversal, lever: LeverTravel) -> Chart {
    let percent: Vec<_> = reversal.course.iter().map(|(x, y)| (100.0 * x, 100.0 * y)).collect();
    let title = format!("Slow reversal at {:.0} % of travel", 100.0 * reversal.place);
    let chart = Chart::new(&title, Axis::fit(COMMAND), lever.on(Axis::fit(TRAVEL))).half();
    let ways = [("opening", Ink::Opening), ("closing", Ink::Closing), ("", Ink::Opening)];
    let ramps = between_turns(&percent).into_iter().zip(ways);
    ramps.fold(chart, |chart, (ramp, (name, ink))| chart.trace(name, ink, ramp))
}

/// A course cut where its command turns; each turning point belongs to both sides.
fn between_turns(course: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    let mut ramps = vec![course.iter().take(1).copied().collect::<Vec<_>>()];
    let mut way = 0.0;
    for (a, b) in course.iter().zip(course.iter().skip(1)) {
        let step = b.0 - a.0;
        if step * way < 0.0 {
            ramps.push(vec![*a]);
        }
        if step != 0.0 {
            way = step;
        }
        if let Some(ramp) = ramps.last_mut() {
            ramp.push(*b);
        }
    }
    ramps
}

/// Step responses with T63 and T86 marked.
#[must_use]
pub fn steps(steps: &[(StepTrace, StepResponse)], bands: StepBands, lever: LeverTravel) -> Section {
    let charts = steps.iter().map(|(trace, response)| step(trace, response, bands, lever));
    let mut table =
        Table::new(&["step", "dead time, ms", "T63, ms", "T86, ms", "overshoot, %", "settling, ms"]);
    for (_, r) in steps {
        let ms = |s: f64| format!("{:.0}", 1000.0 * s);
        table = table.row([
            format!("{} % = {}, {}", r.size.percent(), lever.text(r.size.percent().into()), r.direction),
            ms(r.dead_time_s),
            ms(r.t63_s),
            ms(r.t86_s),
            format!("{:.1}", r.overshoot_percent),
            ms(r.settling_s),
        ]);
    }
    Section::new("Steps").charts(charts).table(table)
}

/// One step with T63 and T86 marked.
pub(super) fn step(
    trace: &StepTrace,
    response: &StepResponse,
    bands: StepBands,
    lever: LeverTravel,
) -> Chart {
    let shown = (2.5 * response.settling_s.max(response.t86_s)).max(0.1);
    let last = trace.readings.last().map_or(shown, |r| r.0.min(shown));
    let before = -0.1 * last;
    let percent = |y: f64| 100.0 * y;
    let rest = vec![(1000.0 * before, percent(trace.start)), (0.0, percent(trace.start))];
    let mut opening = vec![(0.0, percent(trace.start))];
    let shown_readings = trace.readings.iter().filter(|(t, _)| *t <= last);
    opening.extend(shown_readings.map(|(t, y)| (1000.0 * t, percent(*y))));
    let (from, to) = (percent(trace.command_before), percent(trace.command_after));
    let command = vec![(1000.0 * before, from), (0.0, from), (0.0, to), (1000.0 * last, to)];
    let (low, high) = (percent(response.end - bands.settled), percent(response.end + bands.settled));
    let at = |share: f64| percent(response.start + share * (response.end - response.start));
    let drop = |name: &str, t: f64, share| ChartMark::Drop {
        x: 1000.0 * t,
        y: at(share),
        label: format!("{name} {:.0} ms", 1000.0 * t),
    };
    let ink = if response.direction == VaneDirection::Opening { Ink::Opening } else { Ink::Closing };
    let title = format!("{} % step, {}", response.size.percent(), response.direction);
    Chart::new(
        &title,
        Axis::fixed("time from the step, ms", 1000.0 * before, 1000.0 * last),
        lever.on(Axis::fit(TRAVEL)),
    )
    .band("settled", Ink::Other, vec![(0.0, low, high), (1000.0 * last, low, high)])
    .line("command", Ink::Command, command)
    .line("", ink, rest)
    .trace("opening", ink, opening)
    .with(drop("T63", response.t63_s, T63_SHARE))
    .with(drop("T86", response.t86_s, T86_SHARE))
    .half()
}

/// A simulated boost step with the guard's limit drawn.
#[must_use]
pub fn boost(trace: &BoostTrace, note: &str, lever: LeverTravel) -> Section {
    let time = trace.boost.last().map_or(1.0, |p| p.0);
    let percent = trace.opening.iter().map(|(t, y)| (*t, 100.0 * y)).collect();
    let opening = Chart::new(
        "Vane opening in the same run",
        Axis::fixed("time, s", 0.0, time),
        lever.on(Axis::fixed(TRAVEL, 0.0, 100.0)),
    )
    .trace("", Ink::Main, percent);
    Section::new("Controller in simulation").text(note).charts([simulated_boost(trace), opening])
}

/// Boost against its target, with what the guard did.
pub(super) fn simulated_boost(trace: &BoostTrace) -> Chart {
    let time = trace.boost.last().map_or(1.0, |p| p.0);
    let mut boost =
        Chart::new("Simulated boost", Axis::fixed("time, s", 0.0, time), Axis::fit("boost, kPa absolute"))
            .trace("target", Ink::Command, trace.target.clone())
            .trace("boost", Ink::Main, trace.boost.clone());
    if let Some(limit) = trace.guard_limit {
        boost =
            boost.level(limit, Ink::Limit, "boost limit: the guard opens the vanes before boost reaches it");
    }
    for (at, stage) in &trace.guard_stages {
        boost = boost.with(ChartMark::Instant { x: *at, ink: Ink::Limit, label: stage.clone() });
    }
    boost
}
