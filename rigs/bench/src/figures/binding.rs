//! Where a lever binds: a picture of current against position from slow current ramps, without a calibration.
//!
//! In: samples of the ramps in raw counts, and where the stops of a sound unit lie. Out: [`Picture`]: the current with
//! which the lever left each stretch of its travel, either way, and the places that stand out. A picture, never a
//! figure: nothing of it is held against a limit. Common practice, no source.

use firmware_core::learn::Stop;
use serde::Serialize;

use super::Direction;

/// Stretches that the travel is cut into, at most.
const STRETCHES: usize = 16;
/// Shortest stretch, counts: below it noise alone would cross the line.
const SHORTEST_COUNTS: f64 = 8.0;
/// Movement below this share of the sound travel is the give of gear and lever.
const GIVE_SHARE: f64 = 0.05;
/// Share of the sound travel by which an end may lie beside its window before it stands out.
const BESIDE_SHARE: f64 = 0.01;
/// Rise of the push inside one stretch that stands out, as a share of the largest push.
const HANG_SHARE: f64 = 0.15;

/// One sample of a ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Push {
    /// Current that was asked for, A; positive opens.
    pub asked: f64,
    /// Current that flowed, A.
    pub current: f64,
    /// Raw position, counts.
    pub counts: f64,
}

/// What a sound unit of this kind looks like, counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sound {
    /// +1 when opening raises counts, −1 when it lowers them.
    pub open_sign: f64,
    /// Travel between the stops.
    pub span: f64,
    /// Window of the closed stop.
    pub closed: (f64, f64),
    /// Window of the open stop.
    pub open: (f64, f64),
}

/// One stretch of the travel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Stretch {
    /// Its middle, counts.
    pub counts: f64,
    /// Current with which the lever left it closing, A; none where it went no further.
    pub closing_a: Option<f64>,
    /// The same opening.
    pub opening_a: Option<f64>,
}

/// A place that stands out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Place {
    /// The push only bends gear and lever.
    DoesNotMove {
        /// Where it stands, counts.
        counts: f64,
        /// How far it gave, counts.
        moved: f64,
    },
    /// A push toward closed moves it toward open.
    WrongWay {
        /// Where the largest closing push held it, counts.
        closing: f64,
        /// Where the largest opening push held it, counts.
        opening: f64,
    },
    /// It ends before the window of a stop.
    StopsShort {
        /// Which stop.
        stop: Stop,
        /// Where it ended, counts.
        counts: f64,
        /// The window, counts.
        window: (f64, f64),
    },
    /// It went past the window of a stop.
    PassesStop {
        /// Which stop.
        stop: Stop,
        /// Where it ended, counts.
        counts: f64,
        /// The window, counts.
        window: (f64, f64),
    },
    /// It stayed until the push had risen.
    Hangs {
        /// Which way it was going.
        direction: Direction,
        /// Where, counts.
        counts: f64,
        /// Push that freed it, A.
        freed_a: f64,
    },
}

/// What the ramps show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picture {
    /// Largest push asked for, A.
    pub peak_a: f64,
    /// The travel that was seen, from open to closed.
    pub stretches: Vec<Stretch>,
    /// What stands out; nothing where both ends reach their windows freely.
    pub places: Vec<Place>,
    /// Current against position while the push went toward closed, for a chart.
    #[serde(skip)]
    pub closing: Vec<(f64, f64)>,
    /// The same toward open.
    #[serde(skip)]
    pub opening: Vec<(f64, f64)>,
}

impl Picture {
    /// Draws it; nothing where there are no samples.
    #[must_use]
    pub fn try_new(pushes: &[Push], sound: &Sound) -> Option<Self> {
        let peak_a = pushes.iter().map(|push| push.asked.abs()).reduce(f64::max)?;
        let grid = Grid::over(pushes, sound)?;
        let passes = passes(pushes);
        let stretches = grid.stretches(&passes);
        let places = places(pushes, &stretches, sound, peak_a);
        let of = |way| {
            let mine = passes.iter().filter(move |pass| pass.0 == way);
            mine.flat_map(|pass| pass.1.iter().map(|push| (push.counts, push.current))).collect()
        };
        Some(Self { peak_a, stretches, places, closing: of(Direction::Closing), opening: of(Direction::Opening) })
    }
}

/// Runs of samples in which the push only went one way.
fn passes(pushes: &[Push]) -> Vec<(Direction, &[Push])> {
    let mut passes = Vec::new();
    let (mut from, mut way) = (0, None);
    for (at, pair) in pushes.windows(2).enumerate() {
        let [before, after] = pair else { continue };
        let turned = match after.asked - before.asked {
            change if change < 0.0 => Direction::Closing,
            change if change > 0.0 => Direction::Opening,
            _ => continue,
        };
        if let Some(old) = way.filter(|old| *old != turned) {
            passes.push((old, pushes.get(from..=at).unwrap_or_default()));
            from = at;
        }
        way = Some(turned);
    }
    passes.extend(way.map(|way| (way, pushes.get(from..).unwrap_or_default())));
    passes
}

/// The travel that was seen, cut into stretches; stretch 0 is the most open one.
struct Grid {
    open_sign: f64,
    most_open: f64,
    width: f64,
    count: usize,
}

impl Grid {
    fn over(pushes: &[Push], sound: &Sound) -> Option<Self> {
        let places = || pushes.iter().map(|push| sound.open_sign * push.counts);
        let (most_open, most_closed) = (places().reduce(f64::max)?, places().reduce(f64::min)?);
        let seen = most_open - most_closed;
        let count = ((seen / SHORTEST_COUNTS) as usize).clamp(1, STRETCHES);
        let width = (seen / count as f64).max(f64::MIN_POSITIVE);
        Some(Self { open_sign: sound.open_sign, most_open, width, count })
    }

    fn stretch_of(&self, push: &Push) -> usize {
        let from_open = self.most_open - self.open_sign * push.counts;
        ((from_open / self.width) as usize).min(self.count - 1)
    }

    fn stretches(&self, passes: &[(Direction, &[Push])]) -> Vec<Stretch> {
        let middle = |index: usize| self.open_sign * (self.most_open - (index as f64 + 0.5) * self.width);
        let empty = |index| Stretch { counts: middle(index), closing_a: None, opening_a: None };
        let mut stretches: Vec<Stretch> = (0..self.count).map(empty).collect();
        for (direction, pass) in passes {
            self.mark(&mut stretches, *direction, pass);
        }
        stretches
    }

    /// Notes the current at which each stretch was left, the largest where it was left more than once.
    fn mark(&self, stretches: &mut [Stretch], direction: Direction, pass: &[Push]) {
        let Some(mut reached) = pass.first().map(|first| self.stretch_of(first)) else { return };
        for push in pass {
            let at = self.stretch_of(push);
            let left = match direction {
                Direction::Closing => reached..at,
                Direction::Opening => at + 1..reached + 1,
            };
            if left.is_empty() {
                continue;
            }
            for stretch in stretches.get_mut(left).unwrap_or_default() {
                match direction {
                    Direction::Closing => stretch.closing_a = larger(stretch.closing_a, push.current, f64::min),
                    Direction::Opening => stretch.opening_a = larger(stretch.opening_a, push.current, f64::max),
                }
            }
            reached = at;
        }
    }
}

fn larger(before: Option<f64>, now: f64, pick: fn(f64, f64) -> f64) -> Option<f64> {
    Some(before.map_or(now, |before| pick(before, now)))
}

fn places(pushes: &[Push], stretches: &[Stretch], sound: &Sound, peak_a: f64) -> Vec<Place> {
    let opened = |push: &&Push| sound.open_sign * push.counts;
    let by_open = |a: &&Push, b: &&Push| opened(a).total_cmp(&opened(b));
    let (Some(most_open), Some(most_closed)) = (pushes.iter().max_by(by_open), pushes.iter().min_by(by_open)) else {
        return Vec::new();
    };
    let moved = (most_open.counts - most_closed.counts).abs();
    if moved < GIVE_SHARE * sound.span {
        return vec![Place::DoesNotMove { counts: most_open.counts, moved }];
    }
    if let Some(place) = wrong_way(pushes, sound) {
        return vec![place];
    }
    let ends = [(Stop::Open, most_open.counts, sound.open), (Stop::Closed, most_closed.counts, sound.closed)];
    let ends = ends.into_iter().filter_map(|(stop, counts, window)| end(stop, counts, window, sound));
    ends.chain([Direction::Opening, Direction::Closing].into_iter().filter_map(|way| hang(stretches, way, peak_a)))
        .collect()
}

/// Held more open by the largest closing push than by the largest opening one.
fn wrong_way(pushes: &[Push], sound: &Sound) -> Option<Place> {
    let by_push = |a: &&Push, b: &&Push| a.asked.total_cmp(&b.asked);
    // The last of equals: the lever has come to rest by then.
    let opening = pushes.iter().max_by(by_push)?.counts;
    let closing = pushes.iter().rev().min_by(by_push)?.counts;
    let opened_by_closing = sound.open_sign * (closing - opening);
    (opened_by_closing > GIVE_SHARE * sound.span).then_some(Place::WrongWay { closing, opening })
}

fn end(stop: Stop, counts: f64, window: (f64, f64), sound: &Sound) -> Option<Place> {
    let outward = match stop {
        Stop::Open => sound.open_sign,
        Stop::Closed => -sound.open_sign,
    };
    let beside = BESIDE_SHARE * sound.span;
    let (near, far) = (outward * window.0, outward * window.1);
    let at = outward * counts;
    if at < near.min(far) - beside {
        Some(Place::StopsShort { stop, counts, window })
    } else if at > near.max(far) + beside {
        Some(Place::PassesStop { stop, counts, window })
    } else {
        None
    }
}

/// The stretch, past the one that it set out from, in which the push had to rise most.
fn hang(stretches: &[Stretch], direction: Direction, peak_a: f64) -> Option<Place> {
    let pushes: Vec<(f64, f64)> = match direction {
        Direction::Closing => stretches.iter().filter_map(|s| Some((s.counts, s.closing_a?))).collect(),
        Direction::Opening => stretches.iter().rev().filter_map(|s| Some((s.counts, s.opening_a?))).collect(),
    };
    let rise = |pair: &[(f64, f64)]| match pair {
        [before, (counts, freed_a)] => Some(((freed_a - before.1).abs(), *counts, *freed_a)),
        _ => None,
    };
    let (most, counts, freed_a) = pushes.windows(2).filter_map(rise).max_by(|a, b| a.0.total_cmp(&b.0))?;
    (most > HANG_SHARE * peak_a).then_some(Place::Hangs { direction, counts, freed_a })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counts fall when it opens, as on bench actuator A.
    const SOUND: Sound = Sound { open_sign: -1.0, span: 10_700.0, closed: (13_208.0, 13_454.0), open: (2446.0, 2692.0) };

    /// A lever that rests open and follows the push between two ends, held by friction, caught at some places until
    /// the push passes a value.
    fn ramps(ends: (f64, f64), catch: Option<(f64, f64)>) -> Vec<Push> {
        let asked = |t: i32| match t {
            0..=1400 => -f64::from(t) / 1000.0,
            1401..=2800 => -1.4 + f64::from(t - 1400) / 1000.0,
            2801..=4200 => f64::from(t - 2800) / 1000.0,
            4201..=5600 => 1.4 - f64::from(t - 4200) / 1000.0,
            _ => 0.0,
        };
        let mut counts = ends.0;
        (0..=5600)
            .map(|t| {
                let asked = asked(t);
                let pull = match asked {
                    push if push < -0.7 => 40.0,
                    push if push > -0.2 => -40.0,
                    _ => 0.0,
                };
                let next = (counts + pull).clamp(ends.0.min(ends.1), ends.0.max(ends.1));
                let is_caught = catch.is_some_and(|(at, until)| {
                    (counts - at).abs() < 41.0 && pull > 0.0 && asked.abs() < until
                });
                counts = if is_caught { counts } else { next };
                Push { asked, current: asked, counts }
            })
            .collect()
    }

    fn places(pushes: &[Push]) -> Vec<Place> {
        Picture::try_new(pushes, &SOUND).unwrap().places
    }

    #[test]
    fn a_free_lever_between_sound_stops_has_no_place_that_stands_out() {
        assert_eq!(places(&ramps((2560.0, 13_340.0), None)), []);
    }

    #[test]
    fn a_lever_that_ends_short_or_past_a_window_names_the_stop_and_where_it_ended() {
        let window = SOUND.closed;
        let short = places(&ramps((2560.0, 8000.0), None));
        assert_eq!(short, [Place::StopsShort { stop: Stop::Closed, counts: 8000.0, window }]);
        let past = places(&ramps((2560.0, 14_080.0), None));
        assert_eq!(past, [Place::PassesStop { stop: Stop::Closed, counts: 14_080.0, window }]);
    }

    #[test]
    fn a_lever_that_hangs_until_the_push_has_risen_names_place_and_push() {
        let found = places(&ramps((2560.0, 13_340.0), Some((8000.0, 1.1))));
        let [Place::Hangs { direction: Direction::Closing, counts, freed_a }] = found[..] else { panic!("{found:?}") };
        assert!((counts - 8000.0).abs() < 700.0 && (freed_a + 1.1).abs() < 0.05, "{counts} {freed_a}");
    }

    #[test]
    fn a_lever_that_only_gives_and_one_that_goes_the_wrong_way_are_told_apart() {
        let found = places(&ramps((2560.0, 2700.0), None));
        assert_eq!(found, [Place::DoesNotMove { counts: 2560.0, moved: 140.0 }]);
        let turned: Vec<Push> = ramps((2560.0, 13_340.0), None)
            .into_iter()
            .map(|push| Push { counts: 15_900.0 - push.counts, ..push })
            .collect();
        assert!(matches!(places(&turned)[..], [Place::WrongWay { .. }]), "{:?}", places(&turned));
    }

    #[test]
    fn nothing_recorded_gives_no_picture() {
        assert_eq!(Picture::try_new(&[], &SOUND), None);
    }
}
