//! What can be wrong, and which limit holds the drive back: small sets that cost one word each.

use serde::{Deserialize, Serialize};

macro_rules! set_of {
    ($(#[$doc:meta])* $name:ident of $item:ident, $bits:ty) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(transparent)]
        pub struct $name(pub $bits);

        impl $name {
            /// The empty set.
            pub const NONE: Self = Self(0);

            /// The set with one member.
            #[must_use]
            pub const fn only(item: $item) -> Self {
                Self(1 << item as $bits)
            }

            /// True when the set has no member.
            #[must_use]
            pub const fn is_empty(self) -> bool {
                self.0 == 0
            }

            /// True when `item` is a member.
            #[must_use]
            pub const fn contains(self, item: $item) -> bool {
                self.0 & Self::only(item).0 != 0
            }

            /// True when at least one member of `other` is a member too.
            #[must_use]
            pub const fn meets(self, other: Self) -> bool {
                self.0 & other.0 != 0
            }

            /// All members of both sets.
            #[must_use]
            pub const fn union(self, other: Self) -> Self {
                Self(self.0 | other.0)
            }

            /// Adds a member.
            pub fn insert(&mut self, item: $item) {
                *self = self.union(Self::only(item));
            }

            /// Adds a member when `present`, takes it out otherwise.
            pub fn assign(&mut self, item: $item, present: bool) {
                self.0 = (self.0 & !Self::only(item).0) | (<$bits>::from(present) << item as $bits);
            }

            /// The members, in the order of their declaration.
            pub fn iter(self) -> impl Iterator<Item = $item> {
                $item::ALL.into_iter().filter(move |item| self.contains(*item))
            }
        }
    };
}

macro_rules! listed {
    ($(#[$doc:meta])* $name:ident { $($(#[$item_doc:meta])* $item:ident => $code:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(rename_all = "kebab-case")]
        pub enum $name { $($(#[$item_doc])* $item),+ }

        impl $name {
            /// Every member, in the order of its declaration.
            pub const ALL: [Self; [$(Self::$item),+].len()] = [$(Self::$item),+];

            /// Short name as it stands in files and on the screen.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$item => $code),+ }
            }
        }

        impl core::fmt::Display for $name {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                f.write_str(self.name())
            }
        }
    };
}

listed!(
    /// Something that a technician must look at.
    Fault {
        /// Position reading outside the sound sensor's range: wiring or sensor.
        PositionRange => "position-range",
        /// Position jumped further than the lever can travel: loose contact or sensor.
        PositionJump => "position-jump",
        /// Position reading did not change by a count while the vanes were under way: frozen sensor or
        /// seized lever. The vanes are driven open without it.
        PositionFrozen => "position-frozen",
        /// Position command without a calibration: learn the end stops first.
        NotCalibrated => "not-calibrated",
        /// Supply outside its range at the connector.
        SupplyRange => "supply-range",
        /// Motor current reading that cannot be: sensor or wiring; the drive goes by its own estimate.
        CurrentRange => "current-range",
        /// Current was commanded and none flows: open winding, connector or bridge.
        CurrentMissing => "current-missing",
        /// Housing temperature reading outside its range.
        TemperatureRange => "temperature-range",
        /// Boost reading outside the sensor's range: wiring or sensor.
        BoostRange => "boost-range",
        /// Boost jumped faster than a manifold can fill: loose contact or sensor.
        BoostJump => "boost-jump",
        /// Boost did not move while load did: blocked hose or frozen sensor.
        BoostStuck => "boost-stuck",
        /// Boost sensor at the top of its range: the true boost is unknown, counts as over-boost.
        BoostSaturated => "boost-saturated",
        /// Boost and barometer disagree with the engine at rest.
        BoostBarometerMismatch => "boost-barometer-mismatch",
        /// The turbo turns faster than the boost reading allows: boost reads low, or a hose leaks or is
        /// clogged.
        BoostSpeedMismatch => "boost-speed-mismatch",
        /// Barometer reading outside its range: the last sound one is used.
        BarometerRange => "barometer-range",
        /// Exhaust pressure reading outside its range.
        ExhaustRange => "exhaust-range",
        /// Turbo speed reading outside its range or jumping: speed is estimated from pressure ratio.
        TurboSpeedRange => "turbo-speed-range",
        /// The engine's demand is not a number.
        DemandRange => "demand-range",
        /// Boost over the limit.
        OverBoost => "over-boost",
        /// Turbo speed over the limit, measured or estimated.
        OverSpeed => "over-speed",
        /// Exhaust manifold pressure over the limit.
        ExhaustOverPressure => "exhaust-over-pressure",
        /// Opening was commanded and the vanes did not travel: seized, jammed or no torque.
        CannotOpen => "cannot-open",
        /// Boost stays short with the vanes at their minimum: leaking hose or failed turbo.
        BoostShort => "boost-short",
        /// Push without travel for too long: obstruction or stop.
        Stalled => "stalled",
        /// More current flows than a sound winding takes at this duty: short in winding, cable or bridge. The
        /// drive is cut back to its limit.
        OverCurrent => "over-current",
        /// The tick did not follow the one before by one: clock or interrupt; the drive is let go.
        TickJump => "tick-jump",
        /// The calibration in use was not confirmed by a later learn: learn in full, with a person present. Until then
        /// the vanes keep more reserve, and from three refusals on the engine only limps.
        CalibrationSuspended => "calibration-suspended",
        /// A setting or the calibration in use is not what was taken into use: the board's memory has changed by
        /// itself. The drive stays off until the board has started anew.
        MemoryChanged => "memory-changed",
        /// A group of converter channels counts no more conversions, so its readings are old: look at the board's
        /// converter and what starts it. On the bench the drive is let go, an engine is followed without the readings.
        ConverterFrozen => "converter-frozen",
        /// The bridge reports a fault by its own line: look for a short in motor and leads, heat, and too low a supply at
        /// the bridge. The drive is let go.
        BridgeFault => "bridge-fault",
        /// Exhaust pressure is higher than the boost reading allows, and no turbo speed says otherwise: boost reads low, or
        /// a hose leaks. Vanes and fuel are held back until the engine has stood.
        BoostExhaustMismatch => "boost-exhaust-mismatch",
    }
);

set_of!(
    /// The faults present in a tick.
    FaultSet of Fault, u32
);

listed!(
    /// A limit that held the drive back in a tick.
    Limit {
        /// Largest duty.
        Duty => "duty",
        /// Largest current.
        Current => "current",
        /// Winding heat (I²t).
        Heat => "heat",
        /// Push without travel.
        Stall => "stall",
        /// Push into a learned end stop.
        EndStop => "end-stop",
        /// Rate of opening.
        Slew => "slew",
        /// Position command without position or calibration.
        NoPosition => "no-position",
        /// A command that is not a number.
        NotANumber => "not-a-number",
        /// The guard changed the opening.
        Guard => "guard",
        /// Supply too low or too high to drive.
        Supply => "supply",
        /// The exhaust brake stands as far closed as its settings allow, and exhaust pressure is below what it should hold
        /// or is not measured.
        Brake => "brake",
    }
);

set_of!(
    /// The limits that acted in a tick.
    LimitSet of Limit, u16
);

impl FaultSet {
    /// Faults with which a bench does not drive, and nothing is armed.
    pub const FORBIDDING: Self = Self::only(Fault::ConverterFrozen).union(Self::only(Fault::BridgeFault));

    /// Faults that may end what drives.
    pub const ENDING: Self = Self::FORBIDDING.union(Self::only(Fault::MemoryChanged));

    /// The members that are in `other` too.
    #[must_use]
    pub const fn common(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn every_fault_and_limit_has_its_own_bit_and_name() {
        let mut seen = FaultSet::NONE;
        let mut names = std::vec::Vec::new();
        for fault in Fault::ALL {
            assert!(!seen.contains(fault), "{fault} shares a bit");
            seen.insert(fault);
            assert!(!names.contains(&fault.name()), "{fault} shares a name");
            names.push(fault.name());
        }
        assert_eq!(seen.iter().count(), Fault::ALL.len());
        assert_eq!(LimitSet::only(Limit::Supply).iter().next(), Some(Limit::Supply));
    }
}
