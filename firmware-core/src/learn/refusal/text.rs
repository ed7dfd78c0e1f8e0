//! A refusal in words: its name, its sentence, its advice.

use core::fmt;

use super::LearnRefusal;

const NO_CURRENT: &str = "The winding took no current: check connector, wiring and winding resistance.";
const NO_MOTION: &str = "The motor pushed and nothing moved: drive off, turn the lever by hand, free it.";
const WRONG_DIRECTION: &str =
    "Motor wires or sensor run the other way: check the wiring and counts_direction of the profile.";
const SPAN_SHORT: &str =
    "Look for soot at a stop, a wrong lever or the wrong setup; clean, then learn again.";
const SPAN_LONG: &str = "A stop is missing, bent or worn, or the lever is detached from the ring.";
const STOP_OUTSIDE_WINDOW: &str =
    "Check indexing of lever and ring, soot at the stop, and that the chosen setup is the real one.";
const STOP_MISSING: &str = "Look for a missing or broken stop, or a lever detached from the ring.";
const STOP_NOT_REPEATABLE: &str = "Check mounting bolts, linkage play and the sensor; repeat.";
const STOP_DRIFTING: &str =
    "Soot gives way, or the mount or sensor creeps: tighten, clean, let it cool, repeat.";
const SOFT_STOP: &str = "Clean the stop; check the bracket and its bolts for movement under load.";
const STOP_NOT_SETTLED: &str =
    "Soot gives way slowly or the reading swings: clean the stop, check sensor and supply.";
const OBSTRUCTED: &str = "Drive off. Turn the ring by hand and remove what holds it, or clean it.";
const TIGHT_TRAVEL: &str =
    "Ring or linkage is tight: clean and free it; compare the ring's hand torque with the sheet.";
const SPRING_NOT_FELT: &str =
    "The return spring is broken or unhooked, or the profile names the wrong spring: look at it.";
const SENSOR_JUMP: &str =
    "Check the sensor's connector and wiring; a wrapped reading needs another mounting of the magnet.";
const SENSOR_STUCK: &str = "The sensor holds one value: check its supply, magnet and connector.";
const SENSOR_NOISY: &str = "Check sensor ground, shield and supply; keep motor leads away from it.";
const SENSOR_OUT_OF_RANGE: &str = "Sensor open or shorted: check connector and wiring.";
const MOVES_AT_REST: &str = "Wait until the lever rests; check for wind-up, vibration or exhaust flow.";
const SUPPLY_TOO_HIGH: &str =
    "Supply too high: cut it now. Use a supply of the voltage that the profile names, then learn again.";
const SUPPLY_TOO_LOW: &str = "Charge or replace the supply, shorten the leads, learn again.";
const OVER_CURRENT: &str =
    "Drive off. Measure winding resistance and insulation; look for a shorted turn or driver.";
const CURRENT_AT_REST: &str = "Drive stage conducts when off: disconnect the supply and check the driver.";
const CURRENT_NOT_FOLLOWED: &str = "Weak drive, or a current reading that does not follow it: \
    check supply leads, connector resistance, winding, driver and current sensor.";
const NOT_A_NUMBER: &str = "A measuring channel failed: check it before anything moves again.";
const TIMEOUT: &str = "Something moved too slowly: check supply and friction, then learn again.";
const TICK_LOST: &str = "The controller restarted during the learn: check its supply, learn again.";
const HOST_LOST: &str = "Check the cable to the bench computer, then learn again.";
const OTHER_SETUP: &str = "Make a full learn in this setup first.";
const MOVED_SINCE_PREVIOUS: &str = "Inspect the stop and the linkage, then make a full learn.";
const RESERVE: &str = "Lever or ring is clocked: re-index it, then learn free and attached again.";
const CONVERTER_FROZEN: &str =
    "The board's readings are old: switch its supply off and on; if it comes back, replace the board.";
const BRIDGE_FAULT: &str = "Drive off. Look for a short in motor and leads, a hot bridge, and a supply that dips at it; \
    some bridges hold their fault until their supply is switched off and on.";

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
            Self::ConverterFrozen => "converter frozen",
            Self::BridgeFault => "bridge fault",
        }
    }

    /// What to try next.
    #[must_use]
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NoMotion { current, asked, .. } if *current < *asked / 2.0 => NO_CURRENT,
            Self::NoMotion { .. } => NO_MOTION,
            Self::WrongDirection { .. } => WRONG_DIRECTION,
            Self::SpanShort { .. } => SPAN_SHORT,
            Self::SpanLong { .. } => SPAN_LONG,
            Self::StopOutsideWindow { .. } => STOP_OUTSIDE_WINDOW,
            Self::StopMissing { .. } => STOP_MISSING,
            Self::StopNotRepeatable { .. } => STOP_NOT_REPEATABLE,
            Self::StopDrifting { .. } => STOP_DRIFTING,
            Self::SoftStop { .. } => SOFT_STOP,
            Self::StopNotSettled { .. } => STOP_NOT_SETTLED,
            Self::Obstructed { .. } => OBSTRUCTED,
            Self::TightTravel { .. } => TIGHT_TRAVEL,
            Self::SpringNotFelt { .. } => SPRING_NOT_FELT,
            Self::SensorJump { .. } => SENSOR_JUMP,
            Self::SensorStuck { .. } => SENSOR_STUCK,
            Self::SensorNoisy { .. } => SENSOR_NOISY,
            Self::SensorOutOfRange { .. } => SENSOR_OUT_OF_RANGE,
            Self::MovesAtRest { .. } => MOVES_AT_REST,
            Self::SupplyOutOfRange { seen, max, .. } if *seen > *max => SUPPLY_TOO_HIGH,
            Self::SupplyOutOfRange { .. } => SUPPLY_TOO_LOW,
            Self::OverCurrent { .. } => OVER_CURRENT,
            Self::CurrentAtRest { .. } => CURRENT_AT_REST,
            Self::CurrentNotFollowed { .. } => CURRENT_NOT_FOLLOWED,
            Self::NotANumber { .. } => NOT_A_NUMBER,
            Self::Timeout { .. } => TIMEOUT,
            Self::TickLost { .. } => TICK_LOST,
            Self::HostLost => HOST_LOST,
            Self::OtherSetup { .. } => OTHER_SETUP,
            Self::MovedSincePrevious { .. } => MOVED_SINCE_PREVIOUS,
            Self::Reserve { .. } => RESERVE,
            Self::ConverterFrozen => CONVERTER_FROZEN,
            Self::BridgeFault => BRIDGE_FAULT,
        }
    }

    fn write_seen(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NoMotion { moved, needed, current, asked } => {
                write!(f, "moved {moved:.0} counts (needs {needed:.0}) at {current:.2} A of {asked:.2} A")
            }
            Self::WrongDirection { moved, .. } => write!(f, "moved {moved:.0} counts against the drive"),
            Self::SpanShort { seen, .. } | Self::SpanLong { seen, .. } => {
                write!(f, "{seen:.0} counts between the stops")
            }
            Self::StopOutsideWindow { stop, seen, .. } => write!(f, "{stop} stop at {seen:.0} counts"),
            Self::StopMissing { stop, reached, .. } => write!(f, "no {stop} stop up to {reached:.0} counts"),
            Self::StopNotRepeatable { stop, range, .. } => {
                write!(f, "{stop} stop varied {range:.1} counts over its touches")
            }
            Self::StopDrifting { stop, moved, .. } => {
                write!(f, "{stop} stop crept {moved:.1} counts from first to last touch")
            }
            Self::SoftStop { stop, yielded, .. } => write!(f, "{stop} stop yields {yielded:.1} counts/A"),
            Self::StopNotSettled { stop, range, .. } => {
                write!(f, "reading at the {stop} stop still moves {range:.1} counts")
            }
            Self::Obstructed { toward, at, .. } => write!(f, "held at {at:.0} counts on the way to {toward}"),
            Self::TightTravel { at, friction, .. } => {
                write!(f, "friction {friction:.2} A near {at:.0} counts")
            }
            Self::SpringNotFelt { seen, .. } => write!(f, "spring balances {seen:.2} A"),
            Self::SensorJump { step, .. } => write!(f, "{step:.0} counts in one tick"),
            Self::SensorStuck { at, yielded, .. } => {
                write!(f, "holds {at:.0} counts, {yielded:.2} counts/A under the push")
            }
            Self::SensorNoisy { range, .. } => write!(f, "{range:.0} counts at rest"),
            Self::SensorOutOfRange { seen, .. } => write!(f, "{seen:.0} counts"),
            Self::MovesAtRest { range, .. } => write!(f, "{range:.0} counts with the drive off"),
            Self::SupplyOutOfRange { seen, .. } => write!(f, "{seen:.1} V"),
            Self::OverCurrent { seen, .. } => write!(f, "{seen:.2} A"),
            Self::CurrentAtRest { seen, .. } => write!(f, "{seen:.2} A with the drive off"),
            Self::CurrentNotFollowed { asked, seen, .. } => {
                write!(f, "asked {asked:.2} A, measured {seen:.2} A")
            }
            Self::NotANumber { reading } => write!(f, "{reading} reads nothing finite"),
            Self::Timeout { ticks, .. } => write!(f, "{ticks} ticks"),
            Self::TickLost { step } => write!(f, "{step} ticks between two samples"),
            Self::HostLost => f.write_str("the drive lease ran out"),
            Self::OtherSetup { learned, wanted } => {
                write!(f, "calibration of setup {learned}, asked for {wanted}")
            }
            Self::MovedSincePrevious { stop, moved, .. } => {
                write!(f, "{stop} stop moved {moved:.0} counts since the last calibration")
            }
            Self::Reserve { fault, closed, open, .. } => {
                write!(f, "{fault}: {closed:.0} counts at closed, {open:.0} at open")
            }
            Self::ConverterFrozen => f.write_str("no conversions of position, current or supply any more"),
            Self::BridgeFault => f.write_str("the bridge reports a fault"),
        }
    }

    fn write_allowed(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NoMotion { .. }
            | Self::NotANumber { .. }
            | Self::HostLost
            | Self::OtherSetup { .. }
            | Self::ConverterFrozen
            | Self::BridgeFault => Ok(()),
            Self::WrongDirection { allowed, .. } => write!(f, " (allowed {allowed:.0})"),
            Self::SpanShort { min, .. } => write!(f, " (least {min:.0})"),
            Self::SpanLong { max, .. } => write!(f, " (most {max:.0})"),
            Self::StopOutsideWindow { min, max, .. } => write!(f, " (allowed {min:.0} to {max:.0})"),
            Self::StopMissing { limit, .. } | Self::Reserve { limit, .. } => write!(f, " (limit {limit:.0})"),
            Self::StopNotRepeatable { max, .. }
            | Self::StopDrifting { max, .. }
            | Self::SoftStop { max, .. }
            | Self::StopNotSettled { max, .. } => write!(f, " (limit {max:.1})"),
            Self::Obstructed { expected, .. } => write!(f, " (expected to reach {expected:.0})"),
            Self::TightTravel { max, .. }
            | Self::OverCurrent { max, .. }
            | Self::CurrentAtRest { max, .. } => write!(f, " (limit {max:.2} A)"),
            Self::SpringNotFelt { min, .. } => write!(f, " (at least {min:.2} A)"),
            Self::SensorJump { max, .. }
            | Self::SensorNoisy { max, .. }
            | Self::MovesAtRest { max, .. }
            | Self::MovedSincePrevious { max, .. } => write!(f, " (limit {max:.0})"),
            Self::SensorStuck { min, .. } => write!(f, " (a live one at least {min:.2})"),
            Self::SensorOutOfRange { min, max, .. } => write!(f, " (sound sensor: {min:.0} to {max:.0})"),
            Self::SupplyOutOfRange { min, max, .. } => write!(f, " (allowed {min:.1} to {max:.1} V)"),
            Self::CurrentNotFollowed { allowed, .. } => write!(f, " (may differ by {allowed:.2} A)"),
            Self::Timeout { allowed, .. } => write!(f, " (allowed {allowed})"),
            Self::TickLost { .. } => f.write_str(" (must be 1)"),
        }
    }
}

impl fmt::Display for LearnRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.name())?;
        self.write_seen(f)?;
        self.write_allowed(f)
    }
}
