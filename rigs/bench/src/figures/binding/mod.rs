//! Where a lever binds: a picture of current against position from slow current ramps, without a calibration.
//!
//! In: samples of the ramps in raw counts, and where the stops of a sound unit lie. Out: [`Picture`]: the current with
//! which the lever left each stretch of its travel, either way, and the places that stand out. A picture, never a
//! figure: nothing of it is held against a limit. Common practice, no source.

mod places;
#[cfg(test)]
mod tests;
mod words;

use firmware_core::learn::Stop;
use schemars::JsonSchema;
use serde::Serialize;

use super::VaneDirection;

/// Stretches that the travel is cut into, at most.
const STRETCHES: usize = 16;
/// Shortest stretch, counts: below it noise alone would cross the line.
const SHORTEST_COUNTS: f64 = 8.0;

/// One sample of a ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampSample {
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
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Stretch {
    /// Its middle, counts.
    pub counts: f64,
    /// Current with which the lever left it closing, A; none where it went no further.
    pub closing_a: Option<f64>,
    /// The same opening.
    pub opening_a: Option<f64>,
}

/// A place that stands out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum BindingPlace {
    /// The current that was asked for did not flow: nothing is said of the lever.
    NoCurrent {
        /// Asked for, A.
        asked_a: f64,
        /// Flowed on average at the largest push, A.
        flowed_a: f64,
    },
    /// The push only bends gear and lever.
    DoesNotMove {
        /// Where it stands, counts.
        counts: f64,
        /// How far it gave, counts.
        moved: f64,
        /// The same as a share of a sound unit's travel.
        share: f64,
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
        direction: VaneDirection,
        /// Where, counts.
        counts: f64,
        /// Push that freed it, A.
        freed_a: f64,
    },
}

/// What the ramps show.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Picture {
    /// Largest push asked for, A.
    pub peak_a: f64,
    /// The travel that was seen, from open to closed.
    pub stretches: Vec<Stretch>,
    /// What stands out; nothing where both ends reach their windows freely.
    pub places: Vec<BindingPlace>,
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
    pub fn try_new(pushes: &[RampSample], sound: &Sound) -> Option<Self> {
        let peak_a = pushes.iter().map(|push| push.asked.abs()).reduce(f64::max)?;
        let grid = Grid::over(pushes, sound)?;
        let passes = passes(pushes);
        let stretches = grid.stretches(&passes);
        let of = |way| {
            let mine = passes.iter().filter(move |pass| pass.0 == way);
            mine.flat_map(|pass| pass.1.iter().map(|push| (push.counts, push.current))).collect()
        };
        let (closing, opening) = (of(VaneDirection::Closing), of(VaneDirection::Opening));
        let mut picture = Self { peak_a, stretches, places: Vec::new(), closing, opening };
        picture.places = places::find(&picture, pushes, sound);
        Some(picture)
    }
}

/// Runs of samples in which the push only went one way.
fn passes(pushes: &[RampSample]) -> Vec<(VaneDirection, &[RampSample])> {
    let mut passes = Vec::new();
    let (mut from, mut way) = (0, None);
    for (at, pair) in pushes.windows(2).enumerate() {
        let [before, after] = pair else { continue };
        let turned = match after.asked - before.asked {
            change if change < 0.0 => VaneDirection::Closing,
            change if change > 0.0 => VaneDirection::Opening,
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
    fn over(pushes: &[RampSample], sound: &Sound) -> Option<Self> {
        let places = || pushes.iter().map(|push| sound.open_sign * push.counts);
        let (most_open, most_closed) = (places().reduce(f64::max)?, places().reduce(f64::min)?);
        let seen = most_open - most_closed;
        let count = ((seen / SHORTEST_COUNTS) as usize).clamp(1, STRETCHES);
        let width = (seen / count as f64).max(f64::MIN_POSITIVE);
        Some(Self { open_sign: sound.open_sign, most_open, width, count })
    }

    fn stretch_of(&self, push: &RampSample) -> usize {
        let from_open = self.most_open - self.open_sign * push.counts;
        ((from_open / self.width) as usize).min(self.count - 1)
    }

    fn stretches(&self, passes: &[(VaneDirection, &[RampSample])]) -> Vec<Stretch> {
        let middle = |index: usize| self.open_sign * (self.most_open - (index as f64 + 0.5) * self.width);
        let empty = |index| Stretch { counts: middle(index), closing_a: None, opening_a: None };
        let mut stretches: Vec<Stretch> = (0..self.count).map(empty).collect();
        for (direction, pass) in passes {
            self.mark(&mut stretches, *direction, pass);
        }
        stretches
    }

    /// Notes the current at which each stretch was left, the largest where it was left more than once.
    fn mark(&self, stretches: &mut [Stretch], direction: VaneDirection, pass: &[RampSample]) {
        let Some(mut reached) = pass.first().map(|first| self.stretch_of(first)) else { return };
        for push in pass {
            let at = self.stretch_of(push);
            let left = match direction {
                VaneDirection::Closing => reached..at,
                VaneDirection::Opening => at + 1..reached + 1,
            };
            if left.is_empty() {
                continue;
            }
            for stretch in stretches.get_mut(left).unwrap_or_default() {
                match direction {
                    VaneDirection::Closing => {
                        stretch.closing_a = larger(stretch.closing_a, push.current, f64::min)
                    }
                    VaneDirection::Opening => {
                        stretch.opening_a = larger(stretch.opening_a, push.current, f64::max)
                    }
                }
            }
            reached = at;
        }
    }
}

fn larger(before: Option<f64>, now: f64, pick: fn(f64, f64) -> f64) -> Option<f64> {
    Some(before.map_or(now, |before| pick(before, now)))
}
