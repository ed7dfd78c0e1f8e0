//! Why a board began anew.

use serde::{Deserialize, Serialize};

use crate::units::Tick;

/// Why the board's software started. What ended the run before is told here, since a board that is in trouble
/// cannot talk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[serde(rename_all = "kebab-case")]
pub enum StartReason {
    /// Power came on.
    #[default]
    PowerOn,
    /// A reset without a recorded reason: a dip of the supply, the reset line, a debugger.
    Reset,
    /// The software found itself in a state that must not be.
    Panic {
        /// Last tick that ran.
        tick: Tick,
        /// Line of the source file, 0 where unknown.
        line: u32,
    },
    /// A tick did not come to its end in time.
    HungTick {
        /// Last tick that ran.
        tick: Tick,
        /// Program counter at the moment the watchdog barked, 0 where unknown.
        at: u32,
    },
    /// The processor refused an instruction or an address.
    CpuFault {
        /// Last tick that ran.
        tick: Tick,
        /// Program counter.
        at: u32,
    },
}

impl core::fmt::Display for StartReason {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::PowerOn => write!(f, "power came on"),
            Self::Reset => write!(f, "reset without a recorded reason: check supply and reset line"),
            Self::Panic { tick, line } => {
                write!(
                    f,
                    "software stopped itself after tick {} (source line {line}); drive off; report it",
                    tick.0
                )
            }
            Self::HungTick { tick, at: 0 } => {
                write!(f, "watchdog: nothing went on after tick {}; drive off; report it", tick.0)
            }
            Self::HungTick { tick, at } => {
                write!(f, "watchdog: the tick after {} hung at {at:#010x}; drive off; report it", tick.0)
            }
            Self::CpuFault { tick, at } => {
                write!(f, "processor fault after tick {} at {at:#010x}; drive off; report it", tick.0)
            }
        }
    }
}
