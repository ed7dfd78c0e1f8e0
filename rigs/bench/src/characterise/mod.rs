//! Characterises an actuator without a data sheet: low energy, one announced step after the other, stopped at the first
//! surprise.
//!
//! In: a rig that can probe and what only a person can say. Out: what the signals show, each value with its uncertainty,
//! or a [`Surprise`]. Windows that come of it are provisional: one unit says nothing of its siblings.

mod answers;
mod estimate;
mod pages;
mod segment;
mod surprise;

pub use answers::{AnswerArgs, Answers, Eyes, VanesDid, YesNo};
pub use estimate::{Found, Value};
pub use pages::profile_text;
pub(crate) use pages::{limits_text, table};
pub use surprise::Surprise;

use firmware_core::link::state::ReleaseReason;
use firmware_core::settings::{CountsDirection, Settings, SpringAction};
use firmware_core::units::{Ampere, Counts, Duty, Volt};

use crate::rig::Rig;
use estimate::Strokes;
use segment::{Plan, Trace, mean, run};

/// First push and each next one, in shares of the continuous current.
const FIRST_PUSH: f64 = 0.08;
const STRONGER: f64 = 1.45;
/// Largest push, in shares of the continuous current: heat bounds how long.
const LARGEST_PUSH: f64 = 2.5;
/// A nudge is this long, counts: above what the softest stop yields under the first pushes.
const NUDGE_COUNTS: f64 = 60.0;
/// Speed while no travel is known, counts/s: 0.35 of the shortest travel that is allowed for.
const BLIND_SPEED: f64 = 280.0;
/// Speeds of the measuring strokes, travel/s; the last is the fastest that a stop is met at.
const SPEEDS: [f64; 2] = [0.18, 0.35];
/// Longest nudge, ticks.
const NUDGE_TICKS: u16 = 6000;
/// Ticks that a push at a stop lasts.
const PUSH_TICKS: u16 = 300;

/// Settings under which a board probes: supply and continuous current as they were said, everything else as wide as it
/// goes. The winding stands at the most that is allowed, so that the limit by resistance never acts: the measured
/// current does.
#[must_use]
pub fn settings(answers: &Answers) -> Settings {
    let (volts, amps) = (answers.rated_voltage as f32, answers.continuous_current as f32);
    let mut settings = Settings::default();
    let actuator = &mut settings.actuator;
    actuator.counts_direction = CountsDirection::OpeningRaises;
    (actuator.sensor_min, actuator.sensor_max) = (Counts(1), Counts(16_382));
    actuator.nominal_span_counts = 16_000.0;
    actuator.spring = SpringAction::None;
    actuator.winding_resistance_ohm = 50.0;
    actuator.back_emf_v_per_count_per_s = 1.0e-6;
    actuator.max_current = Ampere((4.0 * amps).clamp(0.4, 30.0));
    actuator.max_duty = Duty::MAX;
    actuator.nominal_supply = Volt(volts);
    settings.plausibility.supply_min = Volt((0.58 * volts).clamp(4.0, 24.0));
    settings.plausibility.supply_max = Volt((1.5 * volts).clamp(8.0, 60.0));
    settings.plausibility.position_step_counts = 1500.0;
    settings.limits.continuous_current = Ampere(amps);
    settings.limits.stalled_current = Ampere(0.9 * amps);
    settings.limits.stall_current = Ampere(amps);
    settings
}

/// The work in progress.
struct WorkInProgress<'a> {
    rig: &'a mut dyn Rig,
    answers: Answers,
    announce: &'a mut dyn FnMut(&str),
    noise: f64,
    ticks: u32,
}

/// Characterises the unit: the whole order, with each step announced.
///
/// # Errors
/// [`Surprise`]; the drive is off.
pub fn characterise(
    rig: &mut dyn Rig,
    answers: Answers,
    eyes: Eyes<'_>,
    announce: &mut dyn FnMut(&str),
) -> Result<Found, Surprise> {
    let mut work = WorkInProgress { rig, answers, announce, noise: 0.0, ticks: 0 };
    let offset = work.look()?;
    let (first, push) = work.first_motion()?;
    let opens = work.who_opens(eyes, first, push)?;
    let strokes = work.strokes(first, push)?;
    let mut found = estimate::estimate(&strokes, offset)?;
    found.noise_counts = work.noise;
    found.counts_direction =
        if opens > 0.0 { CountsDirection::OpeningRaises } else { CountsDirection::OpeningLowers };
    found.seconds = f64::from(work.ticks) / 1000.0;
    Ok(found)
}

impl WorkInProgress<'_> {
    fn run(&mut self, plan: &Plan) -> Result<Trace, Surprise> {
        let trace = run(self.rig, plan)?;
        if let (Some(first), Some(last)) = (trace.readings.first(), trace.readings.last()) {
            self.ticks += last.tick.wrapping_sub(first.tick);
        }
        match Surprise::of(trace.end) {
            None => Ok(trace),
            Some(surprise) => Err(surprise),
        }
    }

    fn still(&self) -> f64 {
        (5.0 * self.noise).max(4.0)
    }

    /// A second with the drive off; gives the current's offset.
    fn look(&mut self) -> Result<f64, Surprise> {
        (self.announce)(
            "1 of 4: drive off, looking. KEEP CLEAR: a spring or gravity may move the lever at any time.",
        );
        let trace = run(self.rig, &Plan::rest(1000))?;
        let rated = self.answers.rated_voltage;
        match (trace.end, trace.readings.last()) {
            (ReleaseReason::SupplyRange, Some(last)) => {
                return Err(Surprise::WrongSupply { seen: last.supply, rated });
            }
            (ReleaseReason::SensorFault, last) => {
                return Err(Surprise::SensorAtItsEnd { seen: last.map_or(f64::NAN, |last| last.counts) });
            }
            (end, _) => Surprise::of(end).map_or(Ok(()), Err)?,
        }
        let readings = trace.driven();
        let steps = readings.windows(2).map(|pair| match pair {
            [one, next] => (next.counts - one.counts).powi(2),
            _ => 0.0,
        });
        self.noise = (mean(steps) / 2.0).sqrt();
        let ends = |skip: usize| mean(readings.iter().skip(skip).take(100).map(|one| one.counts));
        let (before, after) = (ends(0), ends(readings.len().saturating_sub(100)));
        let at_end = [0.0, 1023.0, 4095.0, 16_383.0].into_iter().any(|end| (after - end).abs() < 1.5);
        if at_end {
            return Err(Surprise::SensorAtItsEnd { seen: after });
        }
        if (after - before).abs() > 6.0 + 2.0 * self.noise {
            return Err(Surprise::MovesByItself { counts: after - before });
        }
        let seen = mean(readings.iter().map(|one| one.supply));
        if !(0.75 * rated..=1.35 * rated).contains(&seen) {
            return Err(Surprise::WrongSupply { seen, rated });
        }
        Ok(mean(readings.iter().map(|one| one.amps)))
    }

    fn push(&self, way: f64, cap: f64, speed: f64) -> Plan {
        Plan {
            volts: way * self.answers.rated_voltage,
            rise: 0.15 * self.answers.rated_voltage,
            cap,
            speed,
            second_cap: None,
            moved: None,
            held_ticks: Some(PUSH_TICKS),
            still: self.still(),
            ticks: 60_000,
        }
    }

    /// The least push that moves the lever, and the way in which it did: the nudge itself with its sign, counts.
    fn first_motion(&mut self) -> Result<(Nudge, f64), Surprise> {
        let (mut push, most) =
            (FIRST_PUSH * self.answers.continuous_current, LARGEST_PUSH * self.answers.continuous_current);
        while push <= most {
            (self.announce)(&format!(
                "2 of 4: NUDGE, at most {push:.2} A either way. Watch the vanes; hands and tools clear."
            ));
            for way in [1.0, -1.0] {
                let plan = Plan {
                    moved: Some(NUDGE_COUNTS.max(12.0 * self.noise)),
                    ticks: NUDGE_TICKS,
                    ..self.push(way, push, BLIND_SPEED)
                };
                let trace = self.run(&plan)?;
                if trace.end != ReleaseReason::ProbeMoved {
                    continue;
                }
                // Yield and play look like motion: a lever that moves goes on.
                let further = Plan { moved: Some(4.0 * NUDGE_COUNTS.max(12.0 * self.noise)), ..plan };
                let trace = self.run(&further)?;
                if trace.end == ReleaseReason::ProbeMoved {
                    return Ok((Nudge { way, gone: trace.gone() }, push));
                }
            }
            push *= STRONGER;
        }
        Err(Surprise::NoMotion { amps: push / STRONGER })
    }

    /// Which way the counts go when the vanes open: said twice, and the two must agree.
    fn who_opens(&mut self, eyes: Eyes<'_>, first: Nudge, push: f64) -> Result<f64, Surprise> {
        let one = eyes.see(true, first.gone)?;
        (self.announce)(&format!(
            "2 of 4: SECOND NUDGE, at most {push:.2} A, the other way where it goes. Watch again."
        ));
        let nudge = |way: f64| Plan {
            moved: Some(4.0 * NUDGE_COUNTS.max(12.0 * self.noise)),
            ticks: NUDGE_TICKS,
            ..self.push(way, push, BLIND_SPEED)
        };
        let (other_way, same_way) = (nudge(-first.way), nudge(first.way));
        let mut trace = self.run(&other_way)?;
        if trace.gone().abs() < 0.5 * first.gone.abs() {
            trace = self.run(&same_way)?;
        }
        let second = trace.gone();
        let other = eyes.see(false, second)?;
        let opens = |did: VanesDid, gone: f64| match did {
            VanesDid::Opened => Ok(gone.signum()),
            VanesDid::Closed => Ok(-gone.signum()),
            VanesDid::Nothing => Err(Surprise::VanesDoNotFollow { counts: gone }),
        };
        let (opens_by_one, opens_by_other) = (opens(one, first.gone)?, opens(other, second)?);
        if opens_by_one != opens_by_other {
            let (first, one, other) = (first.gone, word(one), word(other));
            return Err(Surprise::AnswersContradict { first, one, second, other });
        }
        if first.gone.signum() * first.way != opens_by_one {
            return Err(Surprise::LeadsSwapped);
        }
        Ok(opens_by_one)
    }

    /// Both ends, then strokes at two speeds.
    fn strokes(&mut self, first: Nudge, push: f64) -> Result<Strokes, Surprise> {
        (self.announce)(
            "3 of 4: BOTH ENDS, slowly. The lever goes through its whole travel and meets both stops.",
        );
        let (push_a, end_a, begin) = self.end(first.way, push, BLIND_SPEED, 4.0 * NUDGE_COUNTS)?;
        let gone = (end_a - begin).abs();
        let (push_b, end_b, _) =
            self.end(-first.way, push.max(0.6 * push_a), (0.35 * gone).max(BLIND_SPEED), 0.0)?;
        let span = (end_a - end_b).abs();
        if span < 150.0 {
            return Err(Surprise::NotRepeatable {
                what: format!("the two ends lie {span:.0} counts apart; allowed are 200 and more"),
            });
        }
        (self.announce)("4 of 4: STROKES between the stops, two speeds, two pushes at each stop.");
        let mut traces = Vec::new();
        for speed in SPEEDS {
            for (way, push) in [(first.way, push_a), (-first.way, push_b)] {
                let plan = Plan {
                    second_cap: Some(1.4 * push),
                    still: self.still().max(0.002 * span),
                    ..self.push(way, push, speed * span)
                };
                traces.push((way, push, speed, self.run(&plan)?));
            }
        }
        let ends = if first.way > 0.0 { [end_a, end_b] } else { [end_b, end_a] };
        Ok(Strokes { traces, ends })
    }

    /// Goes one way with more and more push until more push gains no travel beyond `least`: the push, the end and where
    /// it began.
    fn end(&mut self, way: f64, from: f64, speed: f64, least: f64) -> Result<(f64, f64, f64), Surprise> {
        let most = LARGEST_PUSH * self.answers.continuous_current;
        let (mut push, mut reached, mut begin) = (from, None::<f64>, f64::NAN);
        loop {
            let plan = Plan { still: self.still().max(8.0), ..self.push(way, push, speed) };
            let trace = self.run(&plan)?;
            let here = mean(trace.driven().iter().rev().take(50).map(|one| one.counts));
            if begin.is_nan() {
                begin = mean(trace.readings.iter().take(10).map(|one| one.counts));
            }
            let gained = reached.map_or(f64::INFINITY, |reached| (here - reached).abs());
            let travel = (here - begin).abs();
            if gained < (0.01 * travel).max(0.5 * NUDGE_COUNTS) && travel >= least {
                return Ok((push, here, begin));
            }
            reached = Some(here);
            if push * STRONGER > most {
                return Ok((push, here, begin));
            }
            push *= STRONGER;
        }
    }
}

/// A nudge that moved the lever.
#[derive(Debug, Clone, Copy)]
struct Nudge {
    /// Sign of the volts.
    way: f64,
    /// Counts, with their sign.
    gone: f64,
}

fn word(did: VanesDid) -> &'static str {
    match did {
        VanesDid::Opened => "opened",
        VanesDid::Closed => "closed",
        VanesDid::Nothing => "did nothing",
    }
}
