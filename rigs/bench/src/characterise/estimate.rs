//! From strokes to numbers: what the signals show of winding, friction, spring, stops and back-EMF, each with its
//! uncertainty (k = 2). What they cannot show is not measured.

use firmware_core::settings::{CountsDirection, SpringAction};

use super::segment::{TickReading, Trace, mean};
use super::stops::{Pushed, pushed, stop};
use super::surprise::Surprise;
use super::value::{Value, spread};

/// Ticks over which a speed is taken, either side.
const SPEED_TICKS: usize = 25;
/// The middle of the travel, where strokes run evenly.
const MIDDLE: std::ops::RangeInclusive<f64> = 0.25..=0.75;
/// Least of the travel over which strokes must have run, either way.
const COVERED: f64 = 0.3;
/// Back-EMF at 1 travel/s below this share of what friction takes in volts says nothing.
const SAYS_SOMETHING: f64 = 0.5;
/// Uncertainty of the gain of a current's reading, 95 %.
const GAIN: f64 = 0.95 * 0.03;
/// A back-EMF less sure than this share of it is not measured, and a resistance is none.
const MOST_UNSURE: f64 = 0.2;
/// How much more than is seen a stop may yield: the ring's friction holds a part of it back under small pushes.
const HIDDEN: f64 = 2.0;
/// Most that speed adds to the friction current, as a share.
const MOST_BY_SPEED: f64 = 0.15;
/// Spring current below this share of friction is none: a gear's own losses differ that much between the ways.
const NO_SPRING: f64 = 0.12;
/// Twice the scatter of the strokes' currents must stay below the spring's current, or below this share of friction: one
/// unit that crept in its strokes got a spring that it does not have.
const SURELY_FRICTION: f64 = 0.4;

/// What was found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Ω, winding, bridge and leads, at the temperature of the measurement.
    pub resistance_ohm: Value,
    /// A.
    pub friction_a: Value,
    /// A.
    pub break_away_a: Value,
    /// A, at the closed and the open stop in no order: least and most.
    pub spring_a: [Value; 2],
    /// What the spring does.
    pub spring: SpringAction,
    /// V for a count per second; nothing where the signals cannot say.
    pub back_emf: Option<Value>,
    /// Counts at the stop that positive drive comes to (open), and at the other (closed), without push.
    pub stops: [Value; 2],
    /// Counts for an ampere, the softer stop's.
    pub stop_yield: Value,
    /// Counts.
    pub noise_counts: f64,
    /// Largest current read, A.
    pub largest_current_a: f64,
    /// Largest reading over its cap, as a share of it.
    pub over_cap: f64,
    /// Fastest speed at which a stop was met, travel/s.
    pub stop_speed: f64,
    /// Which way counts go.
    pub counts_direction: CountsDirection,
    /// How long it took, s of the board's time.
    pub seconds: f64,
}

/// One stroke: its way, push, A, and speed, travel/s, and what it gave.
type Stroke = (f64, f64, f64, Trace);

/// The strokes: way, push, speed in travel/s, and what was read.
#[derive(Debug)]
pub(super) struct Strokes {
    pub(super) traces: Vec<Stroke>,
    /// Reading at the end that positive drive comes to, and at the other.
    pub(super) ends: [f64; 2],
}

/// A straight line over travel, from one end (0) to the other (1).
#[derive(Debug, Clone, Copy)]
struct TravelLine {
    middle: f64,
    slope: f64,
    /// What its mean speed adds to it.
    by_speed: f64,
    /// Root mean square of what lies off it.
    scatter: f64,
}

impl TravelLine {
    fn at(self, place: f64) -> f64 {
        self.middle + self.slope * (place - 0.5)
    }

    fn half_sum(self, other: Self) -> Self {
        Self {
            middle: 0.5 * (self.middle + other.middle),
            slope: 0.5 * (self.slope + other.slope),
            by_speed: 0.5 * (self.by_speed + other.by_speed),
            scatter: self.scatter.max(other.scatter),
        }
    }
}

struct Moving {
    place: f64,
    /// Along positive drive, counts/s.
    speed: f64,
    amps: f64,
    volts: f64,
    is_slow: bool,
}

pub(super) fn estimate(strokes: &Strokes, offset: f64) -> Result<Found, Surprise> {
    let [open, closed] = strokes.ends;
    let span = open - closed;
    let pushes: Vec<(f64, Pushed)> = strokes
        .traces
        .iter()
        .filter_map(|(way, push, _, trace)| Some((*way, pushed(trace, *push, offset)?)))
        .collect();
    let slopes: Vec<f64> =
        pushes.iter().map(|(_, p)| (p.volts[1] - p.volts[0]) / (p.amps[1] - p.amps[0])).collect();
    if slopes.len() < 2 {
        return Err(not("two pushes did not hold the lever at a stop"));
    }
    let resistance_ohm = with_gain(spread(&slopes, 0.01));
    if resistance_ohm.uncertainty > MOST_UNSURE * resistance_ohm.value {
        return Err(not("volts and current of the pushes at the stops do not agree on one resistance"));
    }
    let moving: Vec<Moving> =
        strokes.traces.iter().flat_map(|one| moving(one, closed, span, offset)).collect();
    let up = line(moving.iter().filter(|one| one.speed > 0.0));
    let down = line(moving.iter().filter(|one| one.speed < 0.0));
    let (Some(up), Some(down)) = (up, down) else {
        return Err(not("the lever did not run evenly through the middle of its travel both ways"));
    };
    let (friction, friction_a) = friction_of(up, down)?;
    let load = up.half_sum(down);
    if 2.0 * load.scatter > load.middle.abs().max(SURELY_FRICTION * friction) {
        return Err(not("the strokes' currents scatter too much to tell a spring from none"));
    }
    let spring = spring_of(load, friction);
    let springs = springs(spring, load, friction);
    let stop =
        |way: f64, line: TravelLine, place: f64| stop(&pushes, way, line.at(place), friction, span.abs());
    let (open_stop, open_yield) =
        stop(1.0, up, 1.0).ok_or_else(|| not("positive drive did not hold the lever at its stop"))?;
    let (closed_stop, closed_yield) =
        stop(-1.0, down, 0.0).ok_or_else(|| not("negative drive did not hold the lever at its stop"))?;
    let seen = Found {
        resistance_ohm,
        friction_a,
        break_away_a: break_away(strokes, load, friction, closed, span, offset),
        spring_a: springs,
        spring,
        back_emf: back_emf(&moving, resistance_ohm.value, friction, span.abs()),
        stops: [open_stop, closed_stop],
        stop_yield: softer(open_yield, closed_yield),
        noise_counts: 0.0,
        largest_current_a: 0.0,
        over_cap: 0.0,
        stop_speed: 0.0,
        counts_direction: CountsDirection::OpeningRaises,
        seconds: 0.0,
    };
    Ok(with_what_it_took(seen, strokes))
}

/// Friction of a lever on the point of standing: what speed adds is none, and noise may not make more of it than a gear's
/// oil does.
fn friction_of(up: TravelLine, down: TravelLine) -> Result<(f64, Value), Surprise> {
    let moving = 0.5 * (up.middle - down.middle);
    let by_speed = (0.5 * (up.by_speed - down.by_speed)).clamp(0.0, MOST_BY_SPEED * moving.max(0.0));
    let friction = moving - by_speed;
    if friction <= 0.0 {
        return Err(not("more current flowed with the spring than against it"));
    }
    let uncertainty = 0.03 * friction + 0.7 * by_speed + 0.002;
    Ok((friction, with_gain(Value { value: friction, uncertainty })))
}

fn spring_of(load: TravelLine, friction: f64) -> SpringAction {
    if load.middle.abs() < (NO_SPRING * friction).max(0.012) {
        SpringAction::None
    } else if load.middle > 0.0 {
        SpringAction::Closes
    } else {
        SpringAction::Opens
    }
}

fn softer(open: f64, closed: f64) -> Value {
    let soft = open.max(closed).max(0.06);
    Value { value: soft, uncertainty: (open - closed).abs().max(HIDDEN * soft) }
}

/// What the strokes asked of the unit.
fn with_what_it_took(seen: Found, strokes: &Strokes) -> Found {
    let most = |of: &dyn Fn(&Stroke) -> f64| strokes.traces.iter().map(of).fold(0.0, f64::max);
    Found {
        largest_current_a: most(&|(.., trace)| largest(trace)),
        over_cap: most(&|(_, push, _, trace)| largest(trace) / (1.4 * push) - 1.0),
        stop_speed: most(&|(way, .., trace)| stop_speed(trace, *way, strokes.ends)),
        ..seen
    }
}

fn not(what: &str) -> Surprise {
    Surprise::NotRepeatable { what: what.to_owned() }
}

fn largest(trace: &Trace) -> f64 {
    trace.readings.iter().map(|one| one.amps.abs()).fold(0.0, f64::max)
}

/// Fastest within a tenth of travel of the end that the stroke came to, while driven, travel/s.
fn stop_speed(trace: &Trace, way: f64, [open, closed]: [f64; 2]) -> f64 {
    let (span, end) = ((open - closed).abs(), if way > 0.0 { open } else { closed });
    let near = speeds(trace.driven()).filter(|(one, _)| (one.counts - end).abs() < 0.1 * span);
    near.map(|(_, speed)| speed.abs() / span).fold(0.0, f64::max)
}

/// Readings with their speed, counts/s.
fn speeds(readings: &[TickReading]) -> impl Iterator<Item = (&TickReading, f64)> {
    readings.windows(2 * SPEED_TICKS + 1).filter_map(|around| {
        let (first, here, last) = (around.first()?, around.get(SPEED_TICKS)?, around.last()?);
        let seconds = f64::from(last.tick.wrapping_sub(first.tick)) / 1000.0;
        Some((here, (last.counts - first.counts) / seconds))
    })
}

fn moving<'a>(
    (_, _, fast, trace): &'a Stroke,
    closed: f64,
    span: f64,
    offset: f64,
) -> impl Iterator<Item = Moving> + 'a {
    let is_slow = *fast < super::SPEEDS[1];
    let fast = *fast;
    speeds(&trace.readings).filter_map(move |(one, speed)| {
        let place = (one.counts - closed) / span;
        let along = speed * span.signum();
        let is_even = (0.3 * fast * span.abs()..3.0 * span.abs()).contains(&along.abs());
        (MIDDLE.contains(&place) && is_even && one.volts != 0.0).then_some(Moving {
            place,
            speed: along,
            amps: one.amps - offset,
            volts: one.volts,
            is_slow,
        })
    })
}

/// Least squares over place and speed; nothing for fewer than a tenth of a second.
fn line<'a>(moving: impl Iterator<Item = &'a Moving> + Clone) -> Option<TravelLine> {
    let places = moving.clone().map(|one| one.place);
    let covered = places.clone().fold(0.0, f64::max) - places.fold(1.0, f64::min);
    if moving.clone().count() < 100 || covered < COVERED {
        return None;
    }
    let place = mean(moving.clone().map(|one| one.place));
    let speed = mean(moving.clone().map(|one| one.speed.abs()));
    let amps = mean(moving.clone().map(|one| one.amps));
    let of = |what: &dyn Fn(f64, f64, f64) -> f64| {
        mean(moving.clone().map(|one| what(one.place - place, one.speed.abs() - speed, one.amps - amps)))
    };
    let (places, speeds, both) = (of(&|p, _, _| p * p), of(&|_, v, _| v * v), of(&|p, v, _| p * v));
    let (by_place, by_speed) = (of(&|p, _, a| p * a), of(&|_, v, a| v * a));
    let apart = places * speeds - both * both;
    // Without two speeds, or two places, there is nothing to tell.
    let (slope, rise) = if places < 1e-4 {
        (0.0, 0.0)
    } else if speeds < (0.1 * speed).powi(2) {
        (by_place / places, 0.0)
    } else {
        ((by_place * speeds - by_speed * both) / apart, (by_speed * places - by_place * both) / apart)
    };
    let off = |p: f64, v: f64, a: f64| (a - slope * p - rise * v).powi(2);
    let scatter = of(&off).sqrt();
    Some(TravelLine { middle: amps + slope * (0.5 - place), slope, by_speed: rise * speed, scatter })
}

/// Spring current at the two ends, least first.
fn springs(spring: SpringAction, load: TravelLine, friction: f64) -> [Value; 2] {
    let uncertainty = |value: f64| 0.08 * value + 0.04 * friction + 0.004;
    match spring {
        SpringAction::None => [Value { value: 0.0, uncertainty: (NO_SPRING * friction).max(0.012) }; 2],
        SpringAction::Opens | SpringAction::Closes => {
            let sign = load.middle.signum();
            let mut ends = [load.at(0.0), load.at(1.0)].map(|end| (end * sign).max(0.0));
            ends.sort_by(f64::total_cmp);
            ends.map(|value| Value { value, uncertainty: uncertainty(value) })
        }
    }
}

/// With what the gain of the current's reading adds: within ±3 % it may be anything, so that 95 of 100 lie within 0.95 of
/// that (rectangular, JCGM 100 G.6.4 by k = 1.65).
fn with_gain(value: Value) -> Value {
    Value { uncertainty: value.uncertainty.hypot(GAIN * value.value), ..value }
}

/// Largest current before the lever had gone 1.8 % of travel, less the spring's: play reads as free motion before.
fn break_away(
    strokes: &Strokes,
    load: TravelLine,
    friction: f64,
    closed: f64,
    span: f64,
    offset: f64,
) -> Value {
    let of = |(way, _, _, trace): &Stroke| {
        let start = trace.driven().first()?.counts;
        let place = (start - closed) / span;
        let has_run = trace.gone().abs() > 0.5 * span.abs();
        let near = trace.driven().iter().filter(|one| (one.counts - start).abs() < 0.018 * span.abs());
        let most = near.map(|one| way * (one.amps - offset)).fold(0.0, f64::max);
        has_run.then_some(most - way * load.at(place))
    };
    let all: Vec<f64> = strokes.traces.iter().filter_map(of).collect();
    let value = if all.is_empty() { 1.3 * friction } else { mean(all.into_iter()) };
    Value { value: value.max(friction), uncertainty: 0.25 * value.max(friction) }
}

/// Slope of what is left of the volts over speed, each way for itself so that the bridge's dead band drops out.
fn back_emf(moving: &[Moving], ohm: f64, friction: f64, span: f64) -> Option<Value> {
    let of = |way: f64| {
        let part = |slow: bool| {
            let own: Vec<&Moving> =
                moving.iter().filter(|one| one.is_slow == slow && one.speed * way > 0.0).collect();
            let left = mean(own.iter().map(|one| one.volts - ohm * one.amps));
            (own.len() > 100).then(|| (mean(own.iter().map(|one| one.speed)), left))
        };
        let ((slow, slow_left), (fast, fast_left)) = (part(true)?, part(false)?);
        ((fast - slow).abs() > 0.06 * span).then(|| (fast_left - slow_left) / (fast - slow))
    };
    let both: Vec<f64> = [1.0, -1.0].into_iter().filter_map(of).collect();
    let value = spread(&both, 0.06);
    let says =
        value.value * span > SAYS_SOMETHING * ohm * friction && value.uncertainty < MOST_UNSURE * value.value;
    (!both.is_empty() && says).then_some(value)
}

#[cfg(test)]
mod tests {
    use firmware_core::link::state::ReleaseReason;

    use super::*;

    /// A stroke over 1000 counts in 3.2 s at this current, A, half of it so much higher and half so much lower.
    fn stroke(way: f64, amps: f64, scatter: f64) -> Stroke {
        let from = if way > 0.0 { 0.0 } else { 1000.0 };
        let reading = |tick: u32, counts: f64, amps: f64| TickReading {
            tick,
            counts,
            volts: 2.0 * amps,
            amps,
            supply: 12.0,
        };
        let run = (0..3200).map(|tick| {
            let off = if tick / 100 % 2 == 0 { scatter } else { -scatter };
            reading(tick, from + way * f64::from(tick) / 3.2, amps + off)
        });
        let pushed = (3200..3900).map(|tick| {
            let push = if tick < 3550 { 1.0 } else { 1.4 };
            reading(tick, from + way * (1000.0 + 5.0 * push), way * push)
        });
        let readings: Vec<TickReading> = run.chain(pushed).collect();
        (way, 1.0, 0.3, Trace { driven: readings.len(), readings, end: ReleaseReason::ProbeHeld })
    }

    fn found(up: f64, down: f64, scatter: f64) -> Result<Found, Surprise> {
        let traces = vec![stroke(1.0, up, scatter), stroke(-1.0, down, scatter)];
        estimate(&Strokes { traces, ends: [1000.0, 0.0] }, 0.0)
    }

    /// Half sums and differences (hand calculation): friction 0.3 A, spring 0.1 A against positive drive.
    #[test]
    fn a_weak_spring_is_told_only_where_the_strokes_repeat() {
        let sure = found(0.4, -0.2, 0.01).expect("strokes that repeat");
        assert_eq!(sure.spring, SpringAction::Closes);
        assert!((sure.friction_a.value - 0.3).abs() < 0.01, "{:?}", sure.friction_a);
        let words = found(0.4, -0.2, 0.07).expect_err("scatter").to_string();
        assert!(words.contains("too much to tell a spring from none"), "{words}");
    }

    #[test]
    fn a_strong_spring_is_told_in_spite_of_scatter() {
        assert_eq!(found(0.7, 0.1, 0.07).expect("strokes").spring, SpringAction::Closes);
        assert_eq!(found(0.3, -0.3, 0.05).expect("strokes").spring, SpringAction::None);
    }
}
