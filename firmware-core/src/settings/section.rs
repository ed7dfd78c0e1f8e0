//! Settings in pieces that fit one frame of the link each.

use serde::{Deserialize, Serialize};

use super::{
    ActuatorSettings, GuardLimits, GuardStages, LearnLimits, LearnMotion, LearnWindows, LimitSettings,
    MapAxes, ModeSettings, OpeningMap, PlausibilitySettings, PositionSettings, SettingError, Settings,
    SlewSettings, TrimSettings,
};
use crate::tables::MAP_POINTS;

/// Largest section encoded with postcard, bytes: a frame holds 254 before stuffing, header and check
/// included.
pub const MAX_SECTION_BYTES: usize = 200;

/// Number of sections that all settings have.
pub const SECTIONS: u8 = 15;

/// Number of the first piece that is a map's row.
const FIRST_ROW: u8 = 13;

/// One piece of the settings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SettingsSection {
    /// Actuator constants.
    Actuator(ActuatorSettings),
    /// When a reading is believed.
    Plausibility(PlausibilitySettings),
    /// Axes of the maps.
    MapAxes(MapAxes),
    /// Feed-forward map.
    FeedForward(OpeningMap),
    /// Map of least openings.
    MinimumOpening(OpeningMap),
    /// Trim on boost error.
    Trim(TrimSettings),
    /// Modes and boost target.
    Modes(ModeSettings),
    /// Limits of the guard.
    GuardLimits(GuardLimits),
    /// Stages of the guard.
    GuardStages(GuardStages),
    /// Rates of the wanted opening.
    Slew(SlewSettings),
    /// Position loop.
    Position(PositionSettings),
    /// Heat, stall, end stops.
    Limits(LimitSettings),
    /// Speeds and pushes of the learn.
    LearnMotion(LearnMotion),
    /// What makes a stop believable.
    LearnLimits(LearnLimits),
    /// Where the stops may lie.
    LearnWindows(LearnWindows),
}

impl Settings {
    /// All sections, in the order in which they are sent.
    pub fn sections(&self) -> impl Iterator<Item = SettingsSection> + '_ {
        (0..).map_while(|index| self.section(index))
    }

    /// The section with this number, counted from 0; `None` past the last.
    #[must_use]
    pub fn section(&self, index: u8) -> Option<SettingsSection> {
        Some(match index {
            0 => SettingsSection::Actuator(self.actuator),
            1 => SettingsSection::Plausibility(self.plausibility),
            2 => SettingsSection::MapAxes(self.target.axes),
            3 => SettingsSection::FeedForward(self.target.feed_forward),
            4 => SettingsSection::MinimumOpening(self.target.minimum_opening),
            5 => SettingsSection::Trim(self.target.trim),
            6 => SettingsSection::Modes(self.target.modes),
            7 => SettingsSection::GuardLimits(self.guard.limits),
            8 => SettingsSection::GuardStages(self.guard.stages),
            9 => SettingsSection::Slew(self.slew),
            10 => SettingsSection::Position(self.position),
            11 => SettingsSection::Limits(self.limits),
            12 => SettingsSection::LearnMotion(self.learn.motion),
            13 => SettingsSection::LearnLimits(self.learn.limits),
            14 => SettingsSection::LearnWindows(self.learn.windows),
            _ => return None,
        })
    }

    /// Pieces of about equal size, for [`Settings::is_same_in`]: a map's rows are pieces of their own.
    pub(crate) const PIECES: u8 = FIRST_ROW + 2 * MAP_POINTS as u8;

    /// True when the piece with this number is the same in `other`; there is none past the last.
    pub(crate) fn is_same_in(&self, piece: u8, other: &Self) -> bool {
        match piece {
            0 => self.actuator == other.actuator,
            1 => self.plausibility == other.plausibility,
            2 => self.target.axes == other.target.axes,
            3 => self.target.trim == other.target.trim,
            4 => self.target.modes == other.target.modes,
            5 => self.guard.limits == other.guard.limits,
            6 => self.guard.stages == other.guard.stages,
            7 => self.slew == other.slew,
            8 => self.position == other.position,
            9 => self.limits == other.limits,
            10 => self.learn.motion == other.learn.motion,
            11 => self.learn.limits == other.learn.limits,
            12 => self.learn.windows == other.learn.windows,
            FIRST_ROW.. => self.has_same_row(usize::from(piece.saturating_sub(FIRST_ROW)), other),
        }
    }

    /// Rows of the feed-forward map, then of the map of least openings.
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
        match section {
            SettingsSection::Actuator(actuator) => self.actuator = *actuator,
            SettingsSection::Plausibility(plausibility) => self.plausibility = *plausibility,
            SettingsSection::MapAxes(axes) => self.target.axes = *axes,
            SettingsSection::FeedForward(map) => self.target.feed_forward = *map,
            SettingsSection::MinimumOpening(map) => self.target.minimum_opening = *map,
            SettingsSection::Trim(trim) => self.target.trim = *trim,
            SettingsSection::Modes(modes) => self.target.modes = *modes,
            SettingsSection::GuardLimits(limits) => self.guard.limits = *limits,
            SettingsSection::GuardStages(stages) => self.guard.stages = *stages,
            SettingsSection::Slew(slew) => self.slew = *slew,
            SettingsSection::Position(position) => self.position = *position,
            SettingsSection::Limits(limits) => self.limits = *limits,
            SettingsSection::LearnMotion(motion) => self.learn.motion = *motion,
            SettingsSection::LearnLimits(limits) => self.learn.limits = *limits,
            SettingsSection::LearnWindows(windows) => self.learn.windows = *windows,
        }
        Ok(())
    }
}

impl SettingsSection {
    /// Its number in the order in which sections are sent, from 0.
    #[inline]
    #[must_use]
    pub fn index(&self) -> u8 {
        match self {
            Self::Actuator(_) => 0,
            Self::Plausibility(_) => 1,
            Self::MapAxes(_) => 2,
            Self::FeedForward(_) => 3,
            Self::MinimumOpening(_) => 4,
            Self::Trim(_) => 5,
            Self::Modes(_) => 6,
            Self::GuardLimits(_) => 7,
            Self::GuardStages(_) => 8,
            Self::Slew(_) => 9,
            Self::Position(_) => 10,
            Self::Limits(_) => 11,
            Self::LearnMotion(_) => 12,
            Self::LearnLimits(_) => 13,
            Self::LearnWindows(_) => 14,
        }
    }

    #[inline]
    fn validate(&self) -> Result<(), SettingError> {
        match self {
            Self::Actuator(actuator) => actuator.validate(),
            Self::Plausibility(plausibility) => plausibility.validate(),
            Self::MapAxes(axes) => axes.validate(),
            Self::FeedForward(map) => map.validate("target.feed_forward"),
            Self::MinimumOpening(map) => map.validate("target.minimum_opening"),
            Self::Trim(trim) => trim.validate(),
            Self::Modes(modes) => modes.validate(),
            Self::GuardLimits(limits) => limits.validate(),
            Self::GuardStages(stages) => stages.validate(),
            Self::Slew(slew) => slew.validate(),
            Self::Position(position) => position.validate(),
            Self::Limits(limits) => limits.validate(),
            Self::LearnMotion(motion) => motion.validate(),
            Self::LearnLimits(limits) => limits.validate(),
            Self::LearnWindows(windows) => windows.validate(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kilopascal;

    #[test]
    fn every_section_fits_a_frame_and_all_of_them_rebuild_the_settings() {
        let mut sent = Settings::default();
        sent.guard.limits.boost = Kilopascal(250.0);
        sent.limits.heat_time_s = 33.0;
        sent.target.feed_forward.0[5][5] = 0.125;
        let mut received = Settings::default();
        for section in sent.sections() {
            let mut frame = [0; MAX_SECTION_BYTES];
            let bytes = postcard::to_slice(&section, &mut frame).unwrap();
            received.apply(&postcard::from_bytes(bytes).unwrap()).unwrap();
        }
        assert_eq!(received, sent);
    }

    #[test]
    fn a_section_knows_its_number() {
        let settings = Settings::default();
        assert!(settings.sections().map(|section| section.index()).eq(0..SECTIONS));
    }

    #[test]
    fn a_refused_section_leaves_the_settings_as_they_were() {
        let mut settings = Settings::default();
        let mut limits = settings.limits;
        limits.heat_time_s = f32::NAN;
        let refusal = settings.apply(&SettingsSection::Limits(limits)).unwrap_err();
        assert_eq!(refusal.field, "limits.heat_time_s");
        assert_eq!(settings, Settings::default());
    }
}
