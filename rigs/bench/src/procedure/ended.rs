//! A motion that the unit ended: why, where, and which way its lever may jump now.

use std::fmt;

use firmware_core::link::state::ReleaseReason;
use firmware_core::motion::Ending;
use firmware_core::settings::{Settings, SpringAction};
use firmware_core::units::{Ampere, Counts, Duty, Tick};

use crate::judge::FaultOf;
use crate::record::{RunRefusal, RunStatus};
use crate::rig::StreamSample;

/// The end that a unit put to a motion.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitEnd {
    why: Ending,
    tick: Tick,
    position: Counts,
    opening: Option<f32>,
    push: Option<LastPush>,
    spring: SpringAction,
    /// What a sound unit's friction and spring take at most, A.
    sound_current: Ampere,
}

/// The last push before the drive was let go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LastPush {
    duty: Duty,
    current: Ampere,
}

impl LastPush {
    /// The push of a sample, where there was one.
    pub(super) fn of(sample: &StreamSample) -> Option<Self> {
        let duty = Duty::saturating(sample.point.duty(), Duty::ZERO);
        (duty != Duty::ZERO).then(|| Self { duty, current: sample.point.current() })
    }

    fn way(self) -> PushWay {
        if self.duty > Duty::ZERO { PushWay::Open } else { PushWay::Closed }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum PushWay {
    Open,
    Closed,
}

impl PushWay {
    fn back(self) -> Self {
        match self {
            Self::Open => Self::Closed,
            Self::Closed => Self::Open,
        }
    }
}

impl fmt::Display for PushWay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Open => "open",
            Self::Closed => "closed",
        })
    }
}

/// The ending of a motion's own that a release stands for.
pub(super) fn ending(reason: ReleaseReason) -> Option<Ending> {
    match reason {
        ReleaseReason::Obstructed => Some(Ending::Obstructed),
        ReleaseReason::NoMotion => Some(Ending::NoMotion),
        ReleaseReason::HeatLimit => Some(Ending::HeatLimit),
        ReleaseReason::SupplyRange => Some(Ending::SupplyRange),
        ReleaseReason::SensorFault => Some(Ending::SensorFault),
        ReleaseReason::NotStarted
        | ReleaseReason::Stopped
        | ReleaseReason::NewHost
        | ReleaseReason::MotionEnded
        | ReleaseReason::LearnEnded
        | ReleaseReason::HostSilent
        | ReleaseReason::TickFault
        | ReleaseReason::NotStored
        | ReleaseReason::MemoryChanged
        | ReleaseReason::ProbeMoved
        | ReleaseReason::ProbeReached
        | ReleaseReason::ProbeHeld
        | ReleaseReason::ProbeTimeSpent
        | ReleaseReason::OverCurrent
        | ReleaseReason::BridgeFault
        | ReleaseReason::ConverterFrozen => None,
    }
}

impl UnitEnd {
    pub(super) fn new(
        why: Ending,
        (tick, position): (Tick, Counts),
        opening: Option<f32>,
        push: Option<LastPush>,
        settings: &Settings,
    ) -> Self {
        let limits = &settings.learn.limits;
        let sound_current = Ampere(limits.friction.0 + limits.spring_current.0);
        Self { why, tick, position, opening, push, spring: settings.actuator.spring, sound_current }
    }

    /// How the run stands in its record.
    #[must_use]
    pub fn status(&self) -> RunStatus {
        RunStatus::EndedByUnit {
            reason: self.code().to_owned(),
            tick: self.tick.0,
            position_counts: self.position.0,
        }
    }

    /// What the record and the verdict say of it.
    #[must_use]
    pub fn refusal(&self) -> RunRefusal {
        RunRefusal {
            reason: self.code().to_owned(),
            seen: format!("{}: {}", self.place(), self.seen()),
            advice: self.advice().to_owned(),
            fault_of: self.fault_of(),
        }
    }

    /// Whether the cause lies in the unit. A ramp too weak for a sound unit says nothing of this one.
    #[must_use]
    pub fn fault_of(&self) -> FaultOf {
        match self.why {
            Ending::SupplyRange => FaultOf::Rig,
            Ending::NoMotion if self.is_too_weak() => FaultOf::Rig,
            Ending::NoMotion | Ending::Obstructed | Ending::HeatLimit | Ending::SensorFault => FaultOf::Unit,
        }
    }

    fn is_too_weak(&self) -> bool {
        self.push.is_some_and(|push| push.current.0.abs() < self.sound_current.0)
    }

    fn code(&self) -> &'static str {
        match self.why {
            Ending::Obstructed => "obstructed",
            Ending::NoMotion => "no-motion",
            Ending::HeatLimit => "heat-limit",
            Ending::SupplyRange => "supply-range",
            Ending::SensorFault => "sensor-fault",
        }
    }

    fn place(&self) -> String {
        let opening = self.opening.map_or_else(String::new, |opening| format!(", opening {opening:.3}"));
        format!("tick {}, at {} counts{opening}", self.tick.0, self.position.0)
    }

    fn seen(&self) -> String {
        match (self.why, self.push) {
            (Ending::Obstructed, Some(push)) => format!(
                "the lever came no nearer to its goal for 0.4 s under a push toward {} with all the current allowed ({:.2} A)",
                push.way(),
                push.current.0.abs()
            ),
            (Ending::Obstructed, None) => {
                "the lever came no nearer to its goal for 0.4 s at full push".to_owned()
            }
            (Ending::NoMotion, Some(push)) => format!(
                "the push toward {} ended at {:.2} A before the lever had moved by 3 % of its travel; a \
                 sound unit moves at {:.2} A",
                push.way(),
                push.current.0.abs(),
                self.sound_current.0
            ),
            (Ending::NoMotion, None) => {
                "the push ended before the lever had moved by 3 % of its travel".to_owned()
            }
            (Ending::HeatLimit, _) => "the winding's heat limit held the current back for 0.5 s".to_owned(),
            (Ending::SupplyRange, _) => "the supply left its range".to_owned(),
            (Ending::SensorFault, _) => {
                "the position reading left its range, jumped or stood still".to_owned()
            }
        }
    }

    fn advice(&self) -> &'static str {
        match self.why {
            Ending::Obstructed => "Look for what blocks the lever at that place, then learn again.",
            Ending::NoMotion if self.is_too_weak() => {
                "The ramp ended below what a sound unit may need: check the supply and the plan's duties, then repeat."
            }
            Ending::NoMotion => {
                "Check that the ring is free and that the motor draws current, then learn again."
            }
            Ending::HeatLimit => {
                "Let the unit cool. If it ends this way again, it is too tight, or something holds it."
            }
            Ending::SupplyRange => {
                "Check battery, cable and connector, then repeat. This says nothing about the unit."
            }
            Ending::SensorFault => "Check the position sensor and its wiring, then learn again.",
        }
    }

    /// Which way the lever may jump.
    #[must_use]
    pub fn jump(&self) -> String {
        let spring = match self.spring {
            SpringAction::Opens => "its spring pulls it toward open, and it may go there at any moment",
            SpringAction::Closes => "its spring pulls it toward closed, and it may go there at any moment",
            SpringAction::None => "it has no spring, and may stay or fall",
        };
        let bent = self.push.map_or_else(String::new, |push| {
            format!(
                ". The last push went toward {}, so it may spring back toward {}",
                push.way(),
                push.way().back()
            )
        });
        format!("THE LEVER MAY JUMP: the drive is off; {spring}{bent}")
    }
}

impl fmt::Display for UnitEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let refusal = self.refusal();
        writeln!(f, "the unit ended the motion: {}", refusal.text())?;
        writeln!(f, "  try: {}", refusal.advice)?;
        writeln!(f, "CAUTION  {}.", self.jump())?;
        write!(
            f,
            "CAUTION  BEFORE YOU CLEAR ANYTHING cut the motor supply, and keep hands and tools out of the \
             lever's way on both sides: once free, it jumps as said above. The tool stopped to protect the \
             unit, not your fingers"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ended(why: Ending, duty: f32, amperes: f32) -> UnitEnd {
        let push = LastPush { duty: Duty::saturating(duty, Duty::ZERO), current: Ampere(amperes) };
        UnitEnd::new(why, (Tick(926), Counts(6412)), Some(0.644), Some(push), &Settings::DEFAULT)
    }

    #[test]
    fn an_obstruction_is_the_units_fault_and_says_where_and_which_way_the_lever_may_jump() {
        let end = ended(Ending::Obstructed, -0.5, -4.0);
        assert_eq!(end.fault_of(), FaultOf::Unit);
        let text = end.to_string();
        assert!(text.contains("tick 926, at 6412 counts, opening 0.644"), "{text}");
        assert!(text.contains("spring pulls it toward open"), "{text}");
        assert!(text.contains("push went toward closed, so it may spring back toward open"), "{text}");
    }

    #[test]
    fn a_supply_out_of_range_and_a_ramp_too_weak_say_nothing_of_the_unit() {
        assert_eq!(ended(Ending::SupplyRange, 0.1, 0.5).fault_of(), FaultOf::Rig);
        assert_eq!(ended(Ending::NoMotion, 0.1, 0.5).fault_of(), FaultOf::Rig);
        assert_eq!(ended(Ending::NoMotion, 0.3, 1.8).fault_of(), FaultOf::Unit);
    }
}
