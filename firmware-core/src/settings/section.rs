//! Settings in pieces that fit one frame of the link each.

use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::table::{AllowedRange, OnWire, WireField};
use super::{
    ActuatorSettings, FixedGainSettings, GuardLimits, GuardStages, LawName, LearnLimits, LearnMotion,
    LearnWindows, LimitSettings, MapAxes, ModeSettings, ModelSettings, OpeningMap, PlausibilitySettings,
    PositionSettings, SettingError, SettingField, Settings, SlewSettings, TrimSettings,
};
use crate::tables::MAP_POINTS;

/// Largest section encoded with postcard, bytes: a frame holds 254 before stuffing, header and check
/// included.
pub const MAX_SECTION_BYTES: usize = 200;

/// Number of the first piece that is a map's row.
const FIRST_ROW: u8 = 16;

/// Makes the sections from their list: number on the wire, name, type, place in the settings.
macro_rules! sections {
    ($($(#[$says:meta])* $number:literal $name:ident($type:ty) at $first:ident$(.$rest:ident)*;)*) => {
        /// One piece of the settings.
        #[derive(Debug, Clone, Copy, PartialEq)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub enum SettingsSection {
            $($(#[$says])* $name($type),)*
        }

        /// Number of sections that all settings have.
        pub const SECTIONS: u8 = [$($number),*].len() as u8;

        /// What a section is called, and its rows.
        pub(super) fn path(number: u8) -> Option<(&'static str, &'static [&'static str])> {
            match number {
                $($number => Some((concat!(stringify!($first)$(, ".", stringify!($rest))*), <$type>::FIELDS)),)*
                _ => None,
            }
        }

        impl Settings {
            /// The section with this number, counted from 0; `None` past the last.
            #[must_use]
            pub fn section(&self, number: u8) -> Option<SettingsSection> {
                match number {
                    $($number => Some(SettingsSection::$name(self.$first$(.$rest)*)),)*
                    _ => None,
                }
            }

            fn put(&mut self, section: &SettingsSection) {
                match section {
                    $(SettingsSection::$name(section) => self.$first$(.$rest)* = *section,)*
                }
            }
        }

        impl SettingsSection {
            /// Its number in the order in which sections are sent, from 0.
            #[inline]
            #[must_use]
            pub fn index(&self) -> u8 {
                match self {
                    $(Self::$name(_) => $number,)*
                }
            }

            #[inline]
            fn with_rows(&mut self, job: &mut dyn FnMut(&mut [WireField<'_>], &[AllowedRange])) {
                match self {
                    $(Self::$name(section) => section.with_rows(job),)*
                }
            }
        }
    };
}

sections! {
    /// Actuator constants.
    0 Actuator(ActuatorSettings) at actuator;
    /// When a reading is believed.
    1 Plausibility(PlausibilitySettings) at plausibility;
    /// Axes of the maps.
    2 MapAxes(MapAxes) at target.axes;
    /// Feed-forward map.
    3 FeedForward(OpeningMap) at target.feed_forward;
    /// Map of least openings.
    4 MinimumOpening(OpeningMap) at target.minimum_opening;
    /// Trim on boost error.
    5 Trim(TrimSettings) at target.trim;
    /// Modes and boost target.
    6 Modes(ModeSettings) at target.modes;
    /// Limits of the guard.
    7 GuardLimits(GuardLimits) at guard.limits;
    /// Stages of the guard.
    8 GuardStages(GuardStages) at guard.stages;
    /// Rates of the wanted opening.
    9 Slew(SlewSettings) at slew;
    /// Position loop.
    10 Position(PositionSettings) at position;
    /// Heat, stall, end stops.
    11 Limits(LimitSettings) at limits;
    /// Speeds and pushes of the learn.
    12 LearnMotion(LearnMotion) at learn.motion;
    /// What makes a stop believable.
    13 LearnLimits(LearnLimits) at learn.limits;
    /// Where the stops may lie.
    14 LearnWindows(LearnWindows) at learn.windows;
    /// The law of boost control.
    15 Law(LawName) at target.law;
    /// Gains of the law with one gain.
    16 FixedGain(FixedGainSettings) at target.fixed_gain;
    /// Engine of the law with a model.
    17 Model(ModelSettings) at target.model;
}

impl OpeningMap {
    /// A map is one row without a name of its own.
    const FIELDS: &[&str] = &[];

    #[inline]
    fn with_rows(&mut self, job: &mut dyn FnMut(&mut [WireField<'_>], &[AllowedRange])) {
        job(&mut [self.place()], &[[0.0, 1.0]]);
    }
}

impl LawName {
    /// A choice is one row without a name of its own.
    const FIELDS: &[&str] = &[];

    #[inline]
    fn with_rows(&mut self, job: &mut dyn FnMut(&mut [WireField<'_>], &[AllowedRange])) {
        job(&mut [self.place()], &[[0.0, 0.0]]);
    }
}

impl Settings {
    /// All sections, in the order in which they are sent.
    pub fn sections(&self) -> impl Iterator<Item = SettingsSection> + '_ {
        (0..).map_while(|number| self.section(number))
    }

    /// Pieces of about equal size, for [`Settings::is_same_in`]: a map's rows are pieces of their own.
    pub(crate) const PIECES: u8 = FIRST_ROW + 2 * MAP_POINTS as u8;

    /// True when the piece with this number is the same in `other`; there is none past the last.
    pub(crate) fn is_same_in(&self, piece: u8, other: &Self) -> bool {
        match piece {
            0 => self.actuator == other.actuator,
            1 => self.plausibility.first_half() == other.plausibility.first_half(),
            2 => self.target.axes == other.target.axes,
            3 => self.target.trim == other.target.trim,
            4 => self.target.modes == other.target.modes,
            5 => self.guard.limits.halves().0 == other.guard.limits.halves().0,
            6 => self.guard.stages == other.guard.stages,
            7 => self.slew == other.slew,
            8 => self.position == other.position,
            9 => self.limits == other.limits,
            10 => self.learn.motion == other.learn.motion,
            11 => self.learn.limits == other.learn.limits,
            12 => self.learn.windows == other.learn.windows,
            13 => self.plausibility.second_half() == other.plausibility.second_half(),
            14 => self.guard.limits.halves().1 == other.guard.limits.halves().1,
            15 => self.target.has_same_laws(&other.target),
            FIRST_ROW.. => self.has_same_row(usize::from(piece.saturating_sub(FIRST_ROW)), other),
        }
    }

    /// Row of the feed-forward map, then of the map of least openings.
    fn has_same_row(&self, row: usize, other: &Self) -> bool {
        let least = row.saturating_sub(MAP_POINTS);
        let (mine, others) = if row < MAP_POINTS {
            (self.target.feed_forward.0.get(row), other.target.feed_forward.0.get(row))
        } else {
            (self.target.minimum_opening.0.get(least), other.target.minimum_opening.0.get(least))
        };
        mine == others
    }

    /// Takes one section in; the settings stay as they were when it is refused.
    ///
    /// # Errors
    /// The field that is out of range, with what was given and what is allowed.
    #[inline]
    pub fn apply(&mut self, section: &SettingsSection) -> Result<(), SettingError> {
        section.validate()?;
        self.put(section);
        Ok(())
    }
}

impl SettingsSection {
    #[inline]
    pub(super) fn validate(&self) -> Result<(), SettingError> {
        let (section, mut result) = (self.index(), Ok(()));
        { *self }.with_rows(&mut |places, ranges| {
            result = (0..).zip(places.iter().zip(ranges)).try_for_each(|(row, (place, range))| {
                let field = SettingField { section, row };
                place.check(*range).map_err(|range| SettingError { field, range })
            });
        });
        result
    }
}

impl Serialize for SettingsSection {
    #[inline]
    fn serialize<S: Serializer>(&self, wire: S) -> Result<S::Ok, S::Error> {
        let mut wire = wire.serialize_tuple(MAX_SECTION_BYTES)?;
        let mut result = wire.serialize_element(&self.index());
        { *self }.with_rows(&mut |places, _| {
            if result.is_ok() {
                result = places.iter().try_for_each(|place| place.write(&mut wire));
            }
        });
        result?;
        wire.end()
    }
}

impl<'de> Deserialize<'de> for SettingsSection {
    #[inline]
    fn deserialize<D: Deserializer<'de>>(wire: D) -> Result<Self, D::Error> {
        wire.deserialize_tuple(MAX_SECTION_BYTES, SectionReader)
    }
}

/// Reads a section row by row.
struct SectionReader;

impl<'de> Visitor<'de> for SectionReader {
    type Value = SettingsSection;

    fn expecting(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("a section of the settings")
    }

    #[inline]
    fn visit_seq<A: SeqAccess<'de>>(self, mut wire: A) -> Result<SettingsSection, A::Error> {
        let number = wire.next_element()?.unwrap_or(SECTIONS);
        let mut section =
            Settings::BLANK.section(number).ok_or_else(|| A::Error::custom("no such section"))?;
        let mut result = Ok(());
        section.with_rows(&mut |places, _| {
            result = places.iter_mut().try_for_each(|place| place.read(&mut wire));
        });
        result.map(|()| section)
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects)]
mod tests;
