//! What a sweep or a step is, tick by tick: a list of straight segments. Each leads from where the last one ended to its
//! own value in a stated number of ticks; zero ticks is a step, the same value again is a dwell.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::command::Command;
use crate::units::{Ampere, Duty, Opening};

/// Most segments a profile can hold.
pub const MAX_SEGMENTS: usize = 48;

/// On what footing a motion may run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum Footing {
    /// On an accepted calibration of this setup, warmth and settings.
    Accepted,
    /// On one that is not proven or suspended too, at half the current and half the speed.
    Unproven,
    /// On none: open loop, at little current, to see where the lever binds.
    Diagnostic,
}

/// Where a segment ends, in the quantity that it drives.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Goal {
    /// Drive off for the segment's time.
    Release,
    /// Closed loop on position.
    Opening(Opening),
    /// Open loop on duty.
    Duty(Duty),
    /// Closed loop on motor current.
    Current(Ampere),
}

/// One straight piece of a profile.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Segment {
    /// Value at the end of the segment.
    pub goal: Goal,
    /// Ticks from the last segment's end; 0 steps at once.
    pub ticks: u32,
}

/// Why a segment was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MotionError {
    /// The profile holds [`MAX_SEGMENTS`] already.
    Full,
    /// A current that is not a finite number.
    NotFinite,
    /// A profile without segments was started.
    Empty,
}

/// A motion profile and how far it has run.
#[derive(Debug, Clone, Default)]
pub struct MotionProfile {
    segments: Vec<Segment, MAX_SEGMENTS>,
    index: usize,
    elapsed: u32,
    from: Option<Goal>,
}

/// A tick of an open-loop ramp that pushes ever harder one way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ramp {
    pub(super) way: Way,
    pub(super) part: RampPart,
}

/// Which way a push goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Opening,
    Closing,
}

/// Where in the ramp a tick lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum RampPart {
    Begins,
    Goes,
    /// Its last tick: it has no more push to give.
    Spent,
}

impl MotionProfile {
    /// An empty profile.
    #[must_use]
    pub const fn new() -> Self {
        Self { segments: Vec::new(), index: 0, elapsed: 0, from: None }
    }

    /// Adds a segment at the end.
    ///
    /// # Errors
    /// [`MotionError`] when the profile is full or the goal is not a number.
    pub fn push(&mut self, segment: Segment) -> Result<(), MotionError> {
        if let Goal::Current(current) = segment.goal
            && !current.is_finite()
        {
            return Err(MotionError::NotFinite);
        }
        self.segments.push(segment).map_err(|_| MotionError::Full)
    }

    /// Removes all segments.
    pub fn clear(&mut self) {
        *self = Self::new();
    }

    /// Segments in the profile.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// Puts the profile back to its start; `here` is the opening that the first ramp leaves from.
    ///
    /// # Errors
    /// [`MotionError::Empty`] when there is nothing to run.
    pub fn rewind(&mut self, here: Opening) -> Result<(), MotionError> {
        if self.segments.is_empty() {
            return Err(MotionError::Empty);
        }
        self.index = 0;
        self.elapsed = 0;
        self.from = Some(Goal::Opening(here));
        Ok(())
    }

    /// The segment that is running, counted from 0; the number of segments when the profile has ended.
    #[must_use]
    pub fn index(&self) -> usize {
        self.index
    }

    /// True once all segments have run.
    pub(super) fn is_over(&self) -> bool {
        self.index >= self.segments.len()
    }

    /// The ramp that the last tick's command belongs to. A dwell is none, nor is a ramp that only takes a push back:
    /// neither has to move anything.
    pub(super) fn ramp(&self) -> Option<Ramp> {
        let segment = self.segments.get(self.index)?;
        let (to, from) = match (segment.goal, self.from) {
            (Goal::Duty(to), Some(Goal::Duty(from))) => (to.get(), from.get()),
            (Goal::Current(to), Some(Goal::Current(from))) => (to.0, from.0),
            (Goal::Duty(to), _) => (to.get(), 0.0),
            (Goal::Current(to), _) => (to.0, 0.0),
            (Goal::Opening(_) | Goal::Release, _) => return None,
        };
        let way = if to > from && to > 0.0 {
            Way::Opening
        } else if to < from && to < 0.0 {
            Way::Closing
        } else {
            return None;
        };
        let part = match self.elapsed {
            0 => return None,
            done if done >= segment.ticks => RampPart::Spent,
            1 => RampPart::Begins,
            _ => RampPart::Goes,
        };
        Some(Ramp { way, part })
    }

    /// The command for this tick, or `None` once the profile has ended.
    pub fn tick(&mut self) -> Option<Command> {
        while let Some(segment) = self.segments.get(self.index).copied() {
            if self.elapsed >= segment.ticks {
                self.from = Some(segment.goal);
                self.index = self.index.saturating_add(1);
                self.elapsed = 0;
                if segment.ticks == 0 && self.index >= self.segments.len() {
                    return Some(command_at(segment.goal));
                }
                continue;
            }
            self.elapsed = self.elapsed.saturating_add(1);
            let fraction = self.elapsed as f32 / segment.ticks as f32;
            return Some(between(self.from, segment.goal, fraction));
        }
        None
    }
}

fn between(from: Option<Goal>, to: Goal, fraction: f32) -> Command {
    let blend = |a: f32, b: f32| a + (b - a) * fraction;
    match (from, to) {
        (Some(Goal::Opening(a)), Goal::Opening(b)) => {
            Command::Opening(Opening::saturating(blend(a.get(), b.get()), b))
        }
        (Some(Goal::Duty(a)), Goal::Duty(b)) => Command::Duty(Duty::saturating(blend(a.get(), b.get()), b)),
        (Some(Goal::Current(a)), Goal::Current(b)) => Command::Current(Ampere(blend(a.0, b.0))),
        // A change of quantity has no straight line: ramp from nothing where nothing has a meaning.
        (_, Goal::Duty(b)) => Command::Duty(Duty::saturating(blend(0.0, b.get()), b)),
        (_, Goal::Current(b)) => Command::Current(Ampere(blend(0.0, b.0))),
        (_, Goal::Opening(_) | Goal::Release) => command_at(to),
    }
}

fn command_at(goal: Goal) -> Command {
    match goal {
        Goal::Release => Command::Release,
        Goal::Opening(opening) => Command::Opening(opening),
        Goal::Duty(duty) => Command::Duty(duty),
        Goal::Current(current) => Command::Current(current),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn opening(value: f32) -> Goal {
        Goal::Opening(Opening::try_new(value).unwrap())
    }

    fn run(segments: &[Segment], here: f32) -> std::vec::Vec<Command> {
        let mut motion = MotionProfile::new();
        for segment in segments {
            motion.push(*segment).unwrap();
        }
        motion.rewind(Opening::try_new(here).unwrap()).unwrap();
        core::iter::from_fn(|| motion.tick()).collect()
    }

    extern crate std;

    #[test]
    fn a_ramp_ends_on_its_goal_in_the_stated_ticks() {
        let commands = run(&[Segment { goal: opening(0.5), ticks: 4 }], 0.1);
        let values: std::vec::Vec<f32> =
            commands.iter().map(|c| if let Command::Opening(o) = c { o.get() } else { f32::NAN }).collect();
        assert_eq!(values, [0.2, 0.3, 0.4, 0.5]);
    }

    #[test]
    fn a_step_and_a_dwell_hold_the_goal_from_the_first_tick() {
        let commands =
            run(&[Segment { goal: opening(0.8), ticks: 0 }, Segment { goal: opening(0.8), ticks: 2 }], 0.1);
        assert_eq!(commands, [Command::Opening(Opening::try_new(0.8).unwrap()); 2]);
    }

    #[test]
    fn an_empty_profile_is_refused() {
        assert_eq!(MotionProfile::new().rewind(Opening::OPEN), Err(MotionError::Empty));
    }
}
