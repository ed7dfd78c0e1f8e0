//! Limits of a swap, in words: what is held, who says so, which load step passes one.

use parts::matching::{CarriedLimits, LimitReached, LimitedValue, SpeedLimitBy, Study};

/// Name and unit of what a limit is about.
pub(super) fn name(guarded: LimitedValue) -> (&'static str, &'static str) {
    match guarded {
        LimitedValue::Boost => ("boost", "kPa absolute"),
        LimitedValue::TurboSpeed => ("turbo speed", "rpm"),
        LimitedValue::Exhaust => ("exhaust pressure", "kPa absolute"),
    }
}

/// A reading as a person says it: speeds to the hundred, pressures to the kPa.
pub(super) fn shown(guarded: LimitedValue, value: f64) -> String {
    const SPEED_STEP_RPM: f64 = 100.0;
    match guarded {
        LimitedValue::Boost | LimitedValue::Exhaust => format!("{value:.0}"),
        LimitedValue::TurboSpeed => format!("{:.0}", (value / SPEED_STEP_RPM).round() * SPEED_STEP_RPM),
    }
}

/// Who says what each limit is, a sentence each.
pub(super) fn grounds(limits: &CarriedLimits) -> Vec<String> {
    let boost = match (&limits.stated.boost_kpa, &limits.stated.source) {
        (None, _) => "the old controller's".to_owned(),
        (Some(_), None) => "as stated".to_owned(),
        (Some(_), Some(source)) => format!("as stated, allowed by {source}"),
    };
    let (before, now) = limits.turbo_rpm;
    let gas_c = limits.stated.turbine_inlet_c;
    let speed = match &limits.turbo_by {
        SpeedLimitBy::Controller => "the old controller's; neither wheel lowers it".to_owned(),
        SpeedLimitBy::TipSpeedKept { wheel } => {
            format!("the {wheel} wheel's tip runs no faster than the old limit allowed")
        }
        SpeedLimitBy::Material { wheel } => format!(
            "tip speed for the {wheel} wheel's material with {gas_c:.0} °C before the turbine (common \
             practice, no source)"
        ),
        SpeedLimitBy::Source { source } => format!("by the new sheet, {source}"),
    };
    let rpm = |value| shown(LimitedValue::TurboSpeed, value);
    vec![
        format!("Boost limit {:.0} kPa absolute: {boost}.", limits.boost_kpa),
        format!("Turbo-speed limit {} → {} rpm: {speed}.", rpm(before), rpm(now)),
        format!(
            "Speed-estimate table × {:.3}: the same compressor tip speed for the same pressure ratio, an \
             estimate. A rule of thumb lowers a limit; only a named source raises one.",
            limits.estimate_factor
        ),
    ]
}

/// What is passed, a sentence each; empty where nothing is.
pub(super) fn passed(study: &Study) -> Vec<String> {
    let sentence = |standing: &LimitReached| {
        let (what, unit) = name(standing.limited);
        format!(
            "{what} reaches {} {unit} at {}, limit {}: the guard would act there. Use another size, or \
             less fuel",
            shown(standing.limited, standing.new),
            standing.at,
            shown(standing.limited, standing.limit)
        )
    };
    study.limits.iter().filter(|standing| standing.is_passed()).map(sentence).collect()
}
