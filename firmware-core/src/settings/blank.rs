//! What a board holds before anybody has told it what stands in front of it.

use super::{
    ActuatorSettings, CountsDirection, LearnSettings, LearnWindows, OpeningMap, Settings, SetupWindows,
    SpringAction, StopWindow, StopWindows, TargetSettings,
};
use crate::tables::MAP_POINTS;
use crate::units::{Ampere, Counts, Duty, Volt};

/// No stop lies here.
const NOWHERE: SetupWindows = {
    let window = StopWindow::around(0, 0);
    let windows = StopWindows { closed: window, open: window };
    SetupWindows { cold: windows, hot: windows }
};
/// Wherever a map is asked, the vanes are open.
const OPEN: OpeningMap = OpeningMap([[1.0; MAP_POINTS]; MAP_POINTS]);

impl Settings {
    /// No actuator: no current and no duty are allowed, no stop is believed, every map says open. What is left of the
    /// defaults only says how readings are judged. It does not pass [`Settings::validate`], and so is never sent.
    pub const BLANK: Self = Self {
        actuator: ActuatorSettings {
            counts_direction: CountsDirection::OpeningRaises,
            sensor_min: Counts(0),
            sensor_max: Counts(16_383),
            nominal_span_counts: 200.0,
            spring: SpringAction::None,
            winding_resistance_ohm: 50.0,
            back_emf_v_per_count_per_s: 1.0e-6,
            max_current: Ampere(0.0),
            max_duty: Duty::ZERO,
            nominal_supply: Volt(12.0),
        },
        target: TargetSettings { feed_forward: OPEN, minimum_opening: OPEN, ..TargetSettings::DEFAULT },
        learn: LearnSettings {
            windows: LearnWindows { free: NOWHERE, attached: NOWHERE, on_engine: NOWHERE },
            ..LearnSettings::DEFAULT
        },
        ..Self::DEFAULT
    };
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::string::ToString;

    use super::*;
    use crate::command::Command;
    use crate::controller::Controller;
    use crate::sample::Request;
    use crate::sample::testing::{any_sample, engine};
    use crate::units::Opening;
    use proptest::prelude::*;

    #[test]
    fn blank_settings_are_refused_wherever_settings_are_checked() {
        assert_eq!(Settings::BLANK.validate().unwrap_err().field.to_string(), "actuator.max_current");
    }

    proptest! {
        #[test]
        fn blank_settings_drive_nothing_and_name_no_electrical_fault_of_a_motor_that_is_off(
            samples in prop::collection::vec(any_sample(), 1..120), which in 0u8..4,
        ) {
            let mut controller = Controller::new(Settings::BLANK);
            let request = match which {
                0 => Request::Bench(Command::Duty(Duty::MAX)),
                1 => Request::Bench(Command::Current(Ampere(4.0))),
                2 => Request::Bench(Command::Opening(Opening::OPEN)),
                _ => engine(crate::sample::Mode::Boost, 200.0, 2000.0, 1.0),
            };
            for sample in samples {
                prop_assert_eq!(controller.tick(&sample, &request).duty, Duty::ZERO);
            }
        }
    }

    #[test]
    fn noise_of_the_current_reading_is_no_short_before_anything_is_known() {
        let mut controller = Controller::new(Settings::BLANK);
        for tick in 0..1000 {
            let mut reading = crate::sample::testing::sample(tick, 8000);
            reading.motor_current = Ampere(if tick % 2 == 0 { 0.02 } else { -0.02 });
            let output = controller.tick(&reading, &Request::Release);
            assert!(!output.faults.contains(crate::faults::Fault::OverCurrent), "tick {tick}");
        }
    }
}
