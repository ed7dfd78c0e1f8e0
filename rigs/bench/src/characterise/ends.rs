//! Both ends of a travel that nobody has seen, then the strokes between them.

use firmware_core::link::state::ReleaseReason;

use super::estimate::Strokes;
use super::segment::{Plan, TickReading, mean};
use super::surprise::Surprise;
use super::{LARGEST_PUSH, NUDGE_COUNTS, Nudge, SPEEDS, STRONGER, WorkInProgress};

/// Speed while no travel is known, counts/s: 0.35 of the shortest travel that is allowed for.
pub(super) const BLIND_SPEED: f64 = 280.0;
/// Longest run toward an end that nobody has seen, ticks: at 0.35 of the known travel a second, 2.8 times as far.
const RUN_TICKS: u16 = 8000;
/// Less of what a run could have gone is creeping: the push is too small.
const CREEPS: f64 = 0.3;
/// How much more than reaches an end is pushed in the strokes.
const SURELY: f64 = 1.15;

/// Share of the current that the supply can drive at a stand which a push may ask for.
const IN_HAND: f64 = 0.97;
/// How much further a run must have come to count as new travel.
const FURTHER: f64 = 1.1;
/// The second push at a stop, in shares of the first; less where the supply gives no more.
const SECOND_PUSH: f64 = 1.4;
const LEAST_SECOND_PUSH: f64 = 1.25;

impl WorkInProgress<'_> {
    /// Both ends, then strokes at two speeds.
    pub(super) fn strokes(&mut self, first: Nudge, push: f64) -> Result<Strokes, Surprise> {
        (self.announce)(
            "3 of 4: BOTH ENDS, slowly. The lever goes through its whole travel and meets both stops.",
        );
        let (one, known) = self.end(first.way, push, 4.0 * NUDGE_COUNTS)?;
        let (other, span) = self.end(-first.way, push.max(0.6 * one.push), known)?;
        if span < 150.0 {
            return Err(Surprise::NotRepeatable {
                what: format!("the two ends lie {span:.0} counts apart; allowed are 200 and more"),
            });
        }
        (self.announce)("4 of 4: STROKES between the stops, two speeds, two pushes at each stop.");
        let mut traces = Vec::new();
        for speed in SPEEDS {
            for (way, end) in [(first.way, one), (-first.way, other)] {
                let [low, high] = end.pushes();
                let plan = Plan {
                    second_cap: Some(high),
                    still: self.still().max(0.002 * span),
                    ..self.push(way, low, speed * span)
                };
                traces.push((way, low, speed, self.run(&plan)?));
            }
        }
        let ends = if first.way > 0.0 { [one.counts, other.counts] } else { [other.counts, one.counts] };
        Ok(Strokes { traces, ends })
    }

    /// Goes one way to its end, with more and more push until more push gains no travel: the end, and how long a travel
    /// is known of. `known` counts of it have been seen before; 0.35 of what is known is the speed.
    fn end(&mut self, way: f64, from: f64, known: f64) -> Result<(EndFound, f64), Surprise> {
        let most = LARGEST_PUSH * self.answers.continuous_current;
        let (mut push, mut last, mut known) = (from, None::<EndFound>, known);
        loop {
            let here = self.drive_until_held(way, push, &mut known)?;
            if let (Some(before), Some(here)) = (last, here)
                && (here.counts - before.counts).abs() < (0.01 * known).max(0.5 * NUDGE_COUNTS)
            {
                return Ok((EndFound { push: (SURELY * before.push).min(push), ..here }, known));
            }
            let is_most = push * STRONGER > most || here.is_some_and(|here| here.available < push);
            match here {
                Some(here) if is_most => return Ok((here, known)),
                None if is_most => return Err(Surprise::NoMotion { amps: push }),
                Some(_) | None => (last, push) = (here, push * STRONGER),
            }
        }
    }

    /// Drives one way until the lever is held; nothing where it only creeps. A run that ends on time has found so much
    /// more travel: the next one may be faster.
    fn drive_until_held(
        &mut self,
        way: f64,
        push: f64,
        known: &mut f64,
    ) -> Result<Option<EndFound>, Surprise> {
        let mut begin = None;
        loop {
            let speed = (SPEEDS[1] * *known).max(BLIND_SPEED);
            let plan = Plan { still: self.still().max(8.0), ticks: RUN_TICKS, ..self.push(way, push, speed) };
            let trace = self.run(&plan)?;
            let driven = trace.driven();
            let late = |what: fn(&TickReading) -> f64| mean(driven.iter().rev().take(50).map(what));
            let counts = late(|one| one.counts);
            let began = *begin.get_or_insert(counts - trace.gone());
            let gone = (counts - began).abs();
            let is_new = gone > FURTHER * *known;
            *known = known.max(gone);
            if trace.end == ReleaseReason::ProbeHeld {
                let ohm = late(|one| one.volts) / late(|one| one.amps);
                let available = (IN_HAND * late(|one| one.supply) / ohm).abs();
                return Ok(Some(EndFound { push, counts, available }));
            }
            if !is_new || trace.gone().abs() < CREEPS * speed * f64::from(RUN_TICKS) / 1000.0 {
                return Ok(None);
            }
        }
    }
}

/// An end of the travel.
#[derive(Debug, Clone, Copy)]
struct EndFound {
    /// Push that reaches it, A.
    push: f64,
    /// Reading there.
    counts: f64,
    /// Current that the supply drives through the winding of a lever that stands, A.
    available: f64,
}

impl EndFound {
    /// Two pushes far enough apart to tell a winding by.
    fn pushes(self) -> [f64; 2] {
        let high = (SECOND_PUSH * self.push).min(self.available).max(self.push);
        [self.push.min(high / LEAST_SECOND_PUSH), high]
    }
}
