//! A refusal in words: its name, its sentence, its advice.

use core::fmt;

use super::LearnRefusal;

impl LearnRefusal {
    /// Short trade name of the reason, without numbers.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::NoMotion { .. } => "no motion",
            Self::WrongDirection { .. } => "wrong direction",
            Self::SpanShort { .. } => "span short",
            Self::SpanLong { .. } => "span long",
            Self::StopOutsideWindow { .. } => "stop outside window",
            Self::StopMissing { .. } => "stop missing",
            Self::StopNotRepeatable { .. } => "stop not repeatable",
            Self::StopDrifting { .. } => "stop drifting",
            Self::SoftStop { .. } => "soft stop",
            Self::StopNotSettled { .. } => "stop not settled",
            Self::Obstructed { .. } => "obstructed travel",
            Self::TightTravel { .. } => "tight travel",
            Self::SpringNotFelt { .. } => "spring not felt",
            Self::SensorJump { .. } => "sensor jump",
            Self::SensorStuck { .. } => "sensor stuck",
            Self::SensorNoisy { .. } => "sensor noisy",
            Self::SensorOutOfRange { .. } => "sensor out of range",
            Self::MovesAtRest { .. } => "moves at rest",
            Self::SupplyOutOfRange { .. } => "supply out of range",
            Self::OverCurrent { .. } => "over-current",
            Self::CurrentAtRest { .. } => "current at rest",
            Self::CurrentNotFollowed { .. } => "current not followed",
            Self::NotANumber { .. } => "not a number",
            Self::Timeout { .. } => "timeout",
            Self::TickLost { .. } => "tick lost",
            Self::HostLost => "host lost",
            Self::OtherSetup { .. } => "other setup",
            Self::MovedSincePrevious { .. } => "moved since previous",
            Self::Reserve { .. } => "over-travel reserve",
        }
    }

    /// What to try next.
    #[must_use]
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NoMotion { current, asked, .. } if *current < *asked / 2.0 => {
                "The winding took no current: check connector, wiring and winding resistance."
            }
            Self::NoMotion { .. } => {
                "The motor pushed and nothing moved: drive off, turn the lever by hand, free it."
            }
            Self::WrongDirection { .. } => {
                "Motor wires or sensor run the other way: check the wiring and counts_direction of the profile."
            }
            Self::SpanShort { .. } => {
                "Look for soot at a stop, a wrong lever or the wrong setup; clean, then learn again."
            }
            Self::SpanLong { .. } => {
                "A stop is missing, bent or worn, or the lever is detached from the ring."
            }
            Self::StopOutsideWindow { .. } => {
                "Check indexing of lever and ring, soot at the stop, and that the chosen setup is the real one."
            }
            Self::StopMissing { .. } => {
                "Look for a missing or broken stop, or a lever detached from the ring."
            }
            Self::StopNotRepeatable { .. } => "Check mounting bolts, linkage play and the sensor; repeat.",
            Self::StopDrifting { .. } => {
                "Soot gives way, or the mount or sensor creeps: tighten, clean, let it cool, repeat."
            }
            Self::SoftStop { .. } => {
                "Clean the stop; check the bracket and its bolts for movement under load."
            }
            Self::StopNotSettled { .. } => {
                "Soot gives way slowly or the reading swings: clean the stop, check sensor and supply."
            }
            Self::Obstructed { .. } => {
                "Drive off. Turn the ring by hand and remove what holds it, or clean it."
            }
            Self::TightTravel { .. } => {
                "Ring or linkage is tight: clean and free it; compare the ring's hand torque with the sheet."
            }
            Self::SpringNotFelt { .. } => {
                "The return spring is broken or unhooked, or the profile names the wrong spring: look at it."
            }
            Self::SensorJump { .. } => {
                "Check the sensor's connector and wiring; a wrapped reading needs another mounting of the magnet."
            }
            Self::SensorStuck { .. } => "The sensor holds one value: check its supply, magnet and connector.",
            Self::SensorNoisy { .. } => {
                "Check sensor ground, shield and supply; keep motor leads away from it."
            }
            Self::SensorOutOfRange { .. } => "Sensor open or shorted: check connector and wiring.",
            Self::MovesAtRest { .. } => {
                "Wait until the lever rests; check for wind-up, vibration or exhaust flow."
            }
            Self::SupplyOutOfRange { seen, max, .. } if *seen > *max => {
                "Supply too high: cut it now. Use one of the voltage that the profile names, then learn again."
            }
            Self::SupplyOutOfRange { .. } => "Charge or replace the supply, shorten the leads, learn again.",
            Self::OverCurrent { .. } => {
                "Drive off. Measure winding resistance and insulation; look for a shorted turn or driver."
            }
            Self::CurrentAtRest { .. } => {
                "Drive stage conducts when off: disconnect the supply and check the driver."
            }
            Self::CurrentNotFollowed { .. } => {
                "Weak drive, or a current reading that does not follow it: check supply leads, connector resistance, \
                 winding, driver and current sensor."
            }
            Self::NotANumber { .. } => "A measuring channel failed: check it before anything moves again.",
            Self::Timeout { .. } => {
                "Something moved too slowly: check supply and friction, then learn again."
            }
            Self::TickLost { .. } => {
                "The controller restarted during the learn: check its supply, learn again."
            }
            Self::HostLost => "Check the cable to the bench computer, then learn again.",
            Self::OtherSetup { .. } => "Make a full learn in this setup first.",
            Self::MovedSincePrevious { .. } => "Inspect the stop and the linkage, then make a full learn.",
            Self::Reserve { .. } => {
                "Lever or ring is clocked: re-index it, then learn free and attached again."
            }
        }
    }
}

impl fmt::Display for LearnRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.name())?;
        match *self {
            Self::NoMotion { moved, needed, current, asked } => {
                write!(f, "moved {moved:.0} counts (needs {needed:.0}) at {current:.2} A of {asked:.2} A")
            }
            Self::WrongDirection { moved, allowed } => {
                write!(f, "moved {moved:.0} counts against the drive (allowed {allowed:.0})")
            }
            Self::SpanShort { seen, min } => write!(f, "{seen:.0} counts between the stops (least {min:.0})"),
            Self::SpanLong { seen, max } => write!(f, "{seen:.0} counts between the stops (most {max:.0})"),
            Self::StopOutsideWindow { stop, seen, min, max } => {
                write!(f, "{stop} stop at {seen:.0} counts (allowed {min:.0} to {max:.0})")
            }
            Self::StopMissing { stop, reached, limit } => {
                write!(f, "no {stop} stop up to {reached:.0} counts (limit {limit:.0})")
            }
            Self::StopNotRepeatable { stop, range, max } => {
                write!(f, "{stop} stop varied {range:.1} counts over its touches (limit {max:.1})")
            }
            Self::StopDrifting { stop, moved, max } => {
                write!(f, "{stop} stop crept {moved:.1} counts from first to last touch (limit {max:.1})")
            }
            Self::SoftStop { stop, yielded, max } => {
                write!(f, "{stop} stop yields {yielded:.1} counts/A (limit {max:.1})")
            }
            Self::StopNotSettled { stop, range, max } => {
                write!(f, "reading at the {stop} stop still moves {range:.1} counts (limit {max:.1})")
            }
            Self::Obstructed { toward, at, expected } => {
                write!(f, "held at {at:.0} counts on the way to {toward} (expected to reach {expected:.0})")
            }
            Self::TightTravel { at, friction, max } => {
                write!(f, "friction {friction:.2} A near {at:.0} counts (limit {max:.2} A)")
            }
            Self::SpringNotFelt { seen, min } => {
                write!(f, "spring balances {seen:.2} A (at least {min:.2} A)")
            }
            Self::SensorJump { step, max } => write!(f, "{step:.0} counts in one tick (limit {max:.0})"),
            Self::SensorStuck { at, yielded, min } => {
                write!(
                    f,
                    "holds {at:.0} counts, {yielded:.2} counts/A under the push (a live one at least {min:.2})"
                )
            }
            Self::SensorNoisy { range, max } => write!(f, "{range:.0} counts at rest (limit {max:.0})"),
            Self::SensorOutOfRange { seen, min, max } => {
                write!(f, "{seen:.0} counts (sound sensor: {min:.0} to {max:.0})")
            }
            Self::MovesAtRest { range, max } => {
                write!(f, "{range:.0} counts with the drive off (limit {max:.0})")
            }
            Self::SupplyOutOfRange { seen, min, max } => {
                write!(f, "{seen:.1} V (allowed {min:.1} to {max:.1} V)")
            }
            Self::OverCurrent { seen, max } => write!(f, "{seen:.2} A (limit {max:.2} A)"),
            Self::CurrentAtRest { seen, max } => {
                write!(f, "{seen:.2} A with the drive off (limit {max:.2} A)")
            }
            Self::CurrentNotFollowed { asked, seen, allowed } => {
                write!(f, "asked {asked:.2} A, measured {seen:.2} A (may differ by {allowed:.2} A)")
            }
            Self::NotANumber { reading } => write!(f, "{reading} reads nothing finite"),
            Self::Timeout { ticks, allowed } => write!(f, "{ticks} ticks (allowed {allowed})"),
            Self::TickLost { step } => write!(f, "{step} ticks between two samples (must be 1)"),
            Self::HostLost => write!(f, "the drive lease ran out"),
            Self::OtherSetup { learned, wanted } => {
                write!(f, "calibration of setup {learned}, asked for {wanted}")
            }
            Self::MovedSincePrevious { stop, moved, max } => {
                write!(f, "{stop} stop moved {moved:.0} counts since the last calibration (limit {max:.0})")
            }
            Self::Reserve { fault, closed, open, limit } => {
                write!(f, "{fault}: {closed:.0} counts at closed, {open:.0} at open (limit {limit:.0})")
            }
        }
    }
}
