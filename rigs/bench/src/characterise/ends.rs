//! Both ends of a travel that nobody has seen, then the strokes between them.

use firmware_core::link::state::ReleaseReason;

use super::estimate::Strokes;
use super::segment::{Plan, TickReading, Trace, mean};
use super::surprise::Surprise;
use super::{LARGEST_PUSH, NUDGE_COUNTS, Nudge, SPEEDS, STRONGER, WorkInProgress};

/// Speed while no travel is known, counts/s: 0.35 of the shortest travel that is allowed for.
pub(super) const BLIND_SPEED: f64 = 280.0;
/// Longest run toward an end that nobody has seen, ticks: at 0.35 of the known travel a second, 2.8 times as far.
const RUN_TICKS: u16 = 25_000;
/// How much more than reaches an end is pushed in the strokes.
const SURELY: f64 = 1.15;

/// Share of the current that the supply can drive at a stand which a push may ask for.
const IN_HAND: f64 = 0.97;
/// Share of the first push from which the second is seen.
const SECOND_SEEN: f64 = 1.15;
/// The second push at a stop, in shares of the first; less where the supply gives no more.
const SECOND_PUSH: f64 = 1.4;
const LEAST_SECOND_PUSH: f64 = 1.25;

impl WorkInProgress<'_> {
    /// Both ends, then strokes at two speeds.
    pub(super) fn strokes(&mut self, first: Nudge, push: f64) -> Result<Strokes, Surprise> {
        (self.announce)(
            "3 of 4: BOTH ENDS, slowly. The lever goes through its whole travel and meets both stops.",
        );
        let one = self.end(first.way, push)?;
        let other = self.end(-first.way, push.max(0.6 * one.push))?;
        let span = (one.counts - other.counts).abs();
        if span < 150.0 {
            return Err(Surprise::NotRepeatable {
                what: format!("the two ends are {span:.0} counts apart; allowed: 200 or more"),
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

    /// Goes one way to its end, with more and more push until more push gains no travel.
    fn end(&mut self, way: f64, from: f64) -> Result<EndFound, Surprise> {
        let most = LARGEST_PUSH * self.answers.continuous_current;
        let (mut push, mut way_gone) = (from.min(most), 0.0_f64);
        loop {
            let plan = Plan {
                speed_by_way: SPEEDS[1],
                second_cap: Some((push * STRONGER).min(most)),
                ticks: RUN_TICKS,
                ..self.push(way, push, BLIND_SPEED)
            };
            let trace = self.run(&plan)?;
            way_gone = way_gone.max(trace.gone().abs());
            let found = (trace.end == ReleaseReason::ProbeHeld).then(|| EndFound::of(&trace, push));
            match found {
                Some((end, further)) if further.abs() < (0.01 * way_gone).max(0.5 * NUDGE_COUNTS) => {
                    return Ok(end);
                }
                Some((end, _)) if end.available < push || push >= most => return Ok(end),
                None if push >= most => return Err(Surprise::NoMotion { amps: push }),
                Some(_) | None => push = (push * STRONGER).min(most),
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
    /// The end that a trace was held at under two pushes, and how much further the second one brought it.
    fn of(trace: &Trace, push: f64) -> (Self, f64) {
        let driven = trace.driven();
        let late = |what: fn(&TickReading) -> f64| mean(driven.iter().rev().take(50).map(what));
        let ohm = late(|one| one.volts) / late(|one| one.amps);
        let available = (IN_HAND * late(|one| one.supply) / ohm).abs();
        let counts = late(|one| one.counts);
        let stronger = SECOND_SEEN * push;
        let risen =
            driven.windows(50).position(|near| mean(near.iter().map(|one| one.amps.abs())) > stronger);
        let before = risen.map_or(counts, |at| {
            mean(driven.iter().skip(at.saturating_sub(100)).take(50).map(|one| one.counts))
        });
        (Self { push: SURELY * push, counts, available }, counts - before)
    }

    /// Two pushes far enough apart to tell a winding by.
    fn pushes(self) -> [f64; 2] {
        let high = (SECOND_PUSH * self.push).min(self.available).max(self.push);
        [self.push.min(high / LEAST_SECOND_PUSH), high]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(of: &[(usize, f64, f64, f64)]) -> Trace {
        let mut readings = Vec::new();
        for &(ticks, amps, from, to) in of {
            for tick in 0..ticks {
                let counts = from + (to - from) * tick as f64 / ticks as f64;
                readings.push(TickReading {
                    tick: readings.len() as u32,
                    counts,
                    volts: 2.0 * amps,
                    amps,
                    supply: 12.0,
                });
            }
        }
        Trace { driven: readings.len(), readings, end: ReleaseReason::ProbeHeld }
    }

    /// The speed limit takes the push back from a lever that the second push moved: that is no first push.
    #[test]
    fn what_the_second_push_gains_counts_from_its_first_rise() {
        let trace = readings(&[
            (400, 1.0, 1000.0, 1000.0),
            (100, 1.25, 1000.0, 1200.0),
            (100, 1.1, 1200.0, 1300.0),
            (300, 1.4, 1300.0, 1300.0),
        ]);
        let (end, further) = EndFound::of(&trace, 1.0);
        assert!((end.counts - 1300.0).abs() < 1.0, "{end:?}");
        assert!((further - 300.0).abs() < 5.0, "{further} counts");
    }
}
