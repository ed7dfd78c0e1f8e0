//! Characterises an actuator without a data sheet: low energy, one announced step after the other, stopped at the first
//! surprise.
//!
//! In: a rig that can probe and what only a person can say. Out: what the signals show, each value with its uncertainty,
//! or a [`Surprise`]. Windows that come of it are provisional: one unit says nothing of its siblings.

mod answers;
mod ends;
mod estimate;
mod pages;
mod segment;
mod stops;
mod surprise;
mod value;

pub use answers::{AnswerArgs, Answers, Eyes, VanesDid, YesNo};
pub use estimate::Found;
pub use pages::profile_text;
pub(crate) use pages::{limits_text, table};
pub use surprise::Surprise;
pub use value::Value;

use firmware_core::link::state::ReleaseReason;
use firmware_core::settings::{CountsDirection, Settings, SpringAction};
use firmware_core::units::{Ampere, Counts, Duty, Volt};

use crate::procedure::RunStop;
use crate::rig::Rig;
use answers::Answered;
use ends::BLIND_SPEED;
use segment::{Plan, Trace, mean, run, wait};

/// First push and each next one, in shares of the continuous current.
const FIRST_PUSH: f64 = 0.12;
const STRONGER: f64 = 1.45;
/// Uncertainty (k = 2) that the reading's noise leaves of a yield, times the largest current: two means of 120 readings in
/// each of two strokes, 0.29 of that current apart: 2 √2 / √240 / 0.29.
const THROUGH_NOISE: f64 = 0.63;
/// Largest push, in shares of the continuous current: heat bounds how long.
const LARGEST_PUSH: f64 = 2.5;
/// Limit of the supply beside a unit that is not known, in shares of the largest push, so that it never acts on a sound
/// unit. Common practice, no source.
const SUPPLY_LIMIT: f64 = 1.5;
/// A nudge is this long, counts: above what the softest stop yields under the first pushes.
const NUDGE_COUNTS: f64 = 60.0;
/// Speeds of the measuring strokes, travel/s; the last is the fastest that a stop is met at.
const SPEEDS: [f64; 2] = [0.18, 0.35];
/// Longer than a board takes to believe a supply anew, ticks.
const DOUBT_TICKS: u32 = 700;
/// Times that a lever which still moves is looked at again: a spring may take seconds to bring it home.
const LOOKS_AGAIN: u32 = 9;
/// Way of a lever that stands, in the last readings of a segment and noise apart, counts.
const STANDS: f64 = 2.0;
/// Most brakes in a row: a spring leads the lever through its whole travel in less.
const MOST_BRAKES: u32 = 12;
/// Most noise of a reading at its end, counts.
const RAIL_NOISE: f64 = 0.05;
/// Longest nudge, ticks.
const NUDGE_TICKS: u16 = 5000;
/// Ticks that a push at a stop lasts.
const PUSH_TICKS: u16 = 300;

/// What the supply's own limit is set to before an unknown unit is driven, A.
pub(crate) fn supply_limit_a(answers: &Answers) -> f64 {
    SUPPLY_LIMIT * LARGEST_PUSH * answers.continuous_current
}

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
    /// Counts that the lever went in the last readings of the last segment.
    parting: f64,
    /// Which way counts go under positive drive, once it was seen.
    direction: Option<CountsDirection>,
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
    let mut work =
        WorkInProgress { rig, answers, announce, noise: 0.0, parting: 0.0, direction: None, ticks: 0 };
    let offset = work.look()?;
    let (first, push) = work.first_motion()?;
    let opens = work.who_opens(eyes, first, push)?;
    let strokes = work.strokes(first, push)?;
    let mut found = estimate::estimate(&strokes, offset)?;
    found.noise_counts = work.noise;
    found.stop_yield.uncertainty += THROUGH_NOISE * work.noise / found.largest_current_a;
    found.counts_direction = direction(opens);
    found.seconds = f64::from(work.ticks) / 1000.0;
    Ok(found)
}

impl WorkInProgress<'_> {
    /// Runs a segment. A lever that a spring still leads the other way is braked until it stands: a speed limit that does
    /// not know which way the lever goes would drive it on.
    fn run(&mut self, plan: &Plan) -> Result<Trace, Surprise> {
        let brake = Plan::brake(self.answers.rated_voltage, LARGEST_PUSH * self.answers.continuous_current);
        for _ in 0..MOST_BRAKES {
            let rises = self.direction.map(|direction| f64::from(direction.sign()));
            let is_along = rises.is_some_and(|rises| rises * plan.volts * self.parting > 0.0);
            if is_along || self.parting.abs() < STANDS + self.noise {
                break;
            }
            self.run_alone(&brake)?;
        }
        self.run_alone(plan)
    }

    fn run_alone(&mut self, plan: &Plan) -> Result<Trace, Surprise> {
        let trace = run(self.rig, plan, self.direction)?;
        if let (Some(first), Some(last)) = (trace.readings.first(), trace.readings.last()) {
            self.ticks += last.tick.wrapping_sub(first.tick);
        }
        self.parting = trace.parting();
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
            "1 of 4: WATCH, drive off. KEEP CLEAR: a spring or gravity may move the lever at any time.",
        );
        wait(self.rig, DOUBT_TICKS)?;
        let mut looked = self.look_once();
        for _ in 0..LOOKS_AGAIN {
            let Err(Surprise::MovesByItself { .. }) = looked else { break };
            looked = self.look_once();
        }
        looked
    }

    fn look_once(&mut self) -> Result<f64, Surprise> {
        let trace = run(self.rig, &Plan::rest(1000), None)?;
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
        // A reading that its converter cuts off does not flicker; the same number within a finer range may.
        let at_end = self.noise < RAIL_NOISE
            && [0.0, 1023.0, 4095.0, 16_383.0].into_iter().any(|end| (after - end).abs() < 1.5);
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
            speed_by_way: 0.0,
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
                    self.direction = Some(direction(way * trace.gone()));
                    return Ok((Nudge { way, gone: trace.gone() }, push));
                }
            }
            push *= STRONGER;
        }
        Err(Surprise::NoMotion { amps: push / STRONGER })
    }

    /// What was seen. A board whose host waits for a person has let go meanwhile, and is armed anew.
    fn vanes_did(&mut self, (did, answered): (VanesDid, Answered)) -> Result<VanesDid, Surprise> {
        match answered {
            Answered::Before => {}
            Answered::JustNow => {
                self.rig.arm(settings(&self.answers).hash()).map_err(RunStop::from)?;
            }
        }
        Ok(did)
    }

    /// Which way the counts go when the vanes open: said twice, and the two must agree.
    fn who_opens(&mut self, eyes: Eyes<'_>, first: Nudge, push: f64) -> Result<f64, Surprise> {
        let one = self.vanes_did(eyes.see(true, first.gone)?)?;
        (self.announce)(&format!(
            "2 of 4: SECOND NUDGE, at most {push:.2} A, the other way if it can move that way. Watch again."
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
        let other = self.vanes_did(eyes.see(false, second)?)?;
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
}

/// Which way counts go under positive drive, which opens, from their sign.
fn direction(rise: f64) -> CountsDirection {
    if rise > 0.0 { CountsDirection::OpeningRaises } else { CountsDirection::OpeningLowers }
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
