//! From strokes to numbers: what the signals show of winding, friction, spring, stops and back-EMF, each with its
//! uncertainty (k = 2). What they cannot show is not measured.

use firmware_core::settings::{CountsDirection, SpringAction};

use super::segment::{TickReading, Trace, mean};
use super::surprise::Surprise;

/// Ticks over which a speed is taken, either side.
const SPEED_TICKS: usize = 25;
/// The middle of the travel, where strokes run evenly.
const MIDDLE: std::ops::RangeInclusive<f64> = 0.25..=0.75;
/// Ticks of a push that are averaged.
const PUSH_READINGS: usize = 120;
/// Back-EMF at 1 travel/s below this share of what friction takes in volts says nothing.
const SAYS_SOMETHING: f64 = 0.3;
/// Spring current below this share of friction is none: a gear's own losses differ that much between the ways.
const NO_SPRING: f64 = 0.12;

/// A value and its uncertainty, k = 2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// The value.
    pub value: f64,
    /// Half the width of its interval, k = 2.
    pub uncertainty: f64,
}

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

/// A push at a stop.
#[derive(Debug, Clone, Copy)]
struct Pushed {
    amps: [f64; 2],
    volts: [f64; 2],
    counts: [f64; 2],
}

/// A straight line over travel, from one end (0) to the other (1).
#[derive(Debug, Clone, Copy)]
struct TravelLine {
    middle: f64,
    slope: f64,
}

impl TravelLine {
    fn at(self, place: f64) -> f64 {
        self.middle + self.slope * (place - 0.5)
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
        return Err(not("a stop was not held under two pushes"));
    }
    let resistance_ohm = spread(&slopes, 0.012);
    let moving: Vec<Moving> =
        strokes.traces.iter().flat_map(|one| moving(one, closed, span, offset)).collect();
    let up = line(moving.iter().filter(|one| one.speed > 0.0));
    let down = line(moving.iter().filter(|one| one.speed < 0.0));
    let (Some(up), Some(down)) = (up, down) else {
        return Err(not("the lever did not run evenly through the middle of its travel both ways"));
    };
    let friction = 0.5 * (up.middle - down.middle);
    if friction <= 0.0 {
        return Err(not("more current flowed the easy way than the hard way"));
    }
    let load = TravelLine { middle: 0.5 * (up.middle + down.middle), slope: 0.5 * (up.slope + down.slope) };
    let friction_a = Value { value: friction, uncertainty: 0.08 * friction + 0.004 };
    let spring = spring_of(load, friction);
    let springs = springs(spring, load, friction);
    let stop =
        |way: f64, line: TravelLine, place: f64| stop(&pushes, way, line.at(place), friction, span.abs());
    let (open_stop, open_yield) =
        stop(1.0, up, 1.0).ok_or_else(|| not("the stop that positive drive comes to was not held"))?;
    let (closed_stop, closed_yield) =
        stop(-1.0, down, 0.0).ok_or_else(|| not("the stop that negative drive comes to was not held"))?;
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
    Value { value: soft, uncertainty: (open - closed).abs().max(0.5 * soft) }
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

/// Least squares over place; nothing for fewer than a tenth of a second.
fn line<'a>(moving: impl Iterator<Item = &'a Moving> + Clone) -> Option<TravelLine> {
    let count = moving.clone().count();
    if count < 100 {
        return None;
    }
    let place = mean(moving.clone().map(|one| one.place));
    let amps = mean(moving.clone().map(|one| one.amps));
    let across = mean(moving.clone().map(|one| (one.place - place).powi(2)));
    let both = mean(moving.map(|one| (one.place - place) * (one.amps - amps)));
    let slope = if across > 1e-4 { both / across } else { 0.0 };
    Some(TravelLine { middle: amps + slope * (0.5 - place), slope })
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

/// The two pushes at the end of a stroke.
fn pushed(trace: &Trace, push: f64, offset: f64) -> Option<Pushed> {
    let driven = trace.driven();
    let second: Vec<&TickReading> = driven.iter().rev().take(PUSH_READINGS).collect();
    let is_first = |one: &&TickReading| (0.9 * push..1.12 * push).contains(&(one.amps - offset).abs());
    let first: Vec<&TickReading> =
        driven.iter().rev().skip(PUSH_READINGS).filter(is_first).skip(30).take(PUSH_READINGS).collect();
    if first.len() < PUSH_READINGS / 2 || second.len() < PUSH_READINGS {
        return None;
    }
    let of = |from: &[&TickReading], what: fn(&TickReading) -> f64| mean(from.iter().map(|one| what(one)));
    let found = Pushed {
        amps: [of(&first, |one| one.amps) - offset, of(&second, |one| one.amps) - offset],
        volts: [of(&first, |one| one.volts), of(&second, |one| one.volts)],
        counts: [of(&first, |one| one.counts), of(&second, |one| one.counts)],
    };
    ((found.amps[1] - found.amps[0]).abs() > 0.15 * push).then_some(found)
}

/// Where a stop lies without push, and what it yields for an ampere.
fn stop(pushes: &[(f64, Pushed)], way: f64, running: f64, friction: f64, span: f64) -> Option<(Value, f64)> {
    let own = || pushes.iter().filter(move |(of, _)| *of == way).map(|(_, pushed)| pushed);
    let yields: Vec<f64> = own().map(|p| (p.counts[1] - p.counts[0]) / (p.amps[1] - p.amps[0])).collect();
    if yields.is_empty() {
        return None;
    }
    let soft = mean(yields.iter().copied());
    let places: Vec<f64> = own().map(|p| p.counts[0] - soft * (p.amps[0] - running)).collect();
    let mut place = spread(&places, 0.0);
    place.uncertainty += 0.5 * friction * soft.abs() + 1.0 + 0.001 * span;
    Some((place, soft.abs()))
}

/// Mean, with the scatter of its members and a share of it as uncertainty.
fn spread(values: &[f64], share: f64) -> Value {
    let value = mean(values.iter().copied());
    let count = values.len() as f64;
    let scatter = if count > 1.0 {
        (values.iter().map(|one| (one - value).powi(2)).sum::<f64>() / (count - 1.0) / count).sqrt()
    } else {
        0.0
    };
    Value { value, uncertainty: 2.0 * scatter + share * value.abs() }
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
    let says = value.value * span > SAYS_SOMETHING * ohm * friction;
    (!both.is_empty() && says).then_some(value)
}
