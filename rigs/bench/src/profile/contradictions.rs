//! Fields of a profile that cannot both be true.
//!
//! In: a profile whose every field is in its own range. Out: nothing, or the first pair that contradicts each other,
//! with both lines: a profile that passes here and lies is blamed on the unit later.

use firmware_core::calibration::{MAX_SPAN_SHARE, MIN_SPAN_SHARE};
use firmware_core::settings::{SetupWindows, StopWindows};

use super::{NEXT, Profile};
use plant::toml_file::{TomlError, TomlFile};

/// Looks at every pair.
///
/// # Errors
/// Names the field, its line, and the other field with its line.
pub(super) fn check(profile: &Profile, file: &TomlFile) -> Result<(), TomlError> {
    let windows = &profile.settings.learn.windows;
    for (setup, SetupWindows { cold, hot }) in
        [("free", &windows.free), ("attached", &windows.attached), ("on_engine", &windows.on_engine)]
    {
        for (warmth, windows) in [("cold", cold), ("hot", hot)] {
            let place = format!("settings.learn.windows.{setup}.{warmth}");
            span(profile, file, &place, windows)?;
            sensor(profile, file, &place, windows)?;
            tolerance(profile, file, &place, windows)?;
        }
    }
    strength(profile, file)?;
    pushes(profile, file)
}

/// The drive may carry what a sound unit takes to move.
fn strength(profile: &Profile, file: &TomlFile) -> Result<(), TomlError> {
    let Some(unit) = &profile.sound_unit else { return Ok(()) };
    let (field, needed) = if unit.break_away_a > unit.friction_a + unit.spring_most_a {
        ("sound_unit.break_away_a", unit.break_away_a)
    } else {
        ("sound_unit.spring_most_a", unit.friction_a + unit.spring_most_a)
    };
    let most = profile.settings.actuator.max_current.0;
    if needed <= f64::from(most) {
        return Ok(());
    }
    let other = file.lined("settings.actuator.max_current");
    let allowed = format!(
        "a sound unit takes {needed:.2} A to move against friction and spring, more than the {most} A of max_current {other}"
    );
    Err(file.refuse(field, allowed, NEXT))
}

/// The windows lie about as far apart as the nominal span, and the way that the counts run.
fn span(profile: &Profile, file: &TomlFile, place: &str, windows: &StopWindows) -> Result<(), TomlError> {
    let actuator = &profile.settings.actuator;
    let centre = |min: i16, max: i16| (f32::from(min) + f32::from(max)) / 2.0;
    let closed = centre(windows.closed.min.0, windows.closed.max.0);
    let open = centre(windows.open.min.0, windows.open.max.0);
    let apart = (open - closed) * actuator.counts_direction.sign();
    let share = apart / actuator.nominal_span_counts;
    let (least, most) = (MIN_SPAN_SHARE, MAX_SPAN_SHARE);
    if (least..=most).contains(&share) {
        return Ok(());
    }
    let (field, seen) = if apart < 0.0 {
        ("settings.actuator.counts_direction", "run the other way".to_owned())
    } else {
        ("settings.actuator.nominal_span_counts", format!("are {apart:.0} counts apart"))
    };
    let other = file.lined(&format!("{place}.closed.min"));
    let allowed = format!(
        "the stop windows {other} {seen}; allowed: {least} to {most} times the nominal span apart, in the \
         direction of counts_direction"
    );
    Err(file.refuse(field, allowed, NEXT))
}

/// A stop outside the sensor's sound range would be an electrical fault.
fn sensor(profile: &Profile, file: &TomlFile, place: &str, windows: &StopWindows) -> Result<(), TomlError> {
    let actuator = &profile.settings.actuator;
    let (low, high) = (actuator.sensor_min, actuator.sensor_max);
    for (stop, window) in [("closed", windows.closed), ("open", windows.open)] {
        for (end, counts) in [("min", window.min), ("max", window.max)] {
            if counts < low || counts > high {
                let other = file.lined("settings.actuator.sensor_min");
                let allowed = format!(
                    "a stop there is outside the sensor's sound range of {} to {} counts {other}",
                    low.0, high.0
                );
                return Err(file.refuse(&format!("{place}.{stop}.{end}"), allowed, NEXT));
            }
        }
    }
    Ok(())
}

/// The windows can support what is tolerated of a stop.
fn tolerance(
    profile: &Profile,
    file: &TomlFile,
    place: &str,
    windows: &StopWindows,
) -> Result<(), TomlError> {
    let Some(stops) = &profile.stops else { return Ok(()) };
    let travel = profile.settings.actuator.nominal_span_counts;
    for (stop, window) in [("closed", windows.closed), ("open", windows.open)] {
        stops.supported(window, travel, file, &format!("{place}.{stop}"))?;
    }
    Ok(())
}

/// The learn cannot push with more than the drive may carry.
fn pushes(profile: &Profile, file: &TomlFile) -> Result<(), TomlError> {
    let most = profile.settings.actuator.max_current;
    let motion = &profile.settings.learn.motion;
    for (field, push) in [
        ("approach_current", motion.approach_current),
        ("small_push", motion.small_push),
        ("large_push", motion.large_push),
    ] {
        if push.0 > most.0 {
            let other = file.lined("settings.actuator.max_current");
            let allowed = format!("more than the {} A of max_current {other}", most.0);
            return Err(file.refuse(&format!("settings.learn.motion.{field}"), allowed, NEXT));
        }
    }
    if motion.small_push.0 >= motion.large_push.0 {
        let other = file.lined("settings.learn.motion.large_push");
        let allowed = format!(
            "two different pushes are needed, and the large one is {} A {other}",
            motion.large_push.0
        );
        return Err(file.refuse("settings.learn.motion.small_push", allowed, NEXT));
    }
    Ok(())
}
