//! In words: what a match does not meet, and what is not known well enough to say so.

use super::super::air::AirComparison;
use super::super::opening_map::{Met, MinimumFlow, Unmet};
use super::{AreaPoint, POINTS, area_point};
use crate::PartsSheet;
use crate::figures::propagate_sheet;

/// Standard uncertainty of an area, as a share of it, up to which the area may be called met (common
/// practice, no source): measured rings reach 5 %, one with an estimated vane thickness 30 %.
const AREA_KNOWN_TO: f64 = 0.10;
/// Values named to be measured first.
const MEASURE_FIRST: usize = 2;

/// In words: at which opening the area is known worst, and which values to measure for it; nothing where it
/// is known well enough all along.
pub(super) fn not_known(sheet: &PartsSheet) -> Option<String> {
    let share = |point: &AreaPoint| point.standard_uncertainty_mm2 / point.effective_mm2;
    let worst = (0..POINTS)
        .map(|at| area_point(sheet, f64::from(at) / f64::from(POINTS - 1)))
        .max_by(|one, other| share(one).total_cmp(&share(other)))
        .filter(|point| share(point) > AREA_KNOWN_TO)?;
    let spread = propagate_sheet(sheet, |sheet| {
        sheet.nozzle().map_or(f64::NAN, |nozzle| nozzle.effective_area_mm2(worst.opening))
    });
    let mut shares = spread.contributions;
    shares.sort_by(|one, other| other.component.abs().total_cmp(&one.component.abs()));
    let first: Vec<String> = shares.into_iter().take(MEASURE_FIRST).map(|share| share.name).collect();
    Some(format!(
        "{}: {:.0} ± {:.0} mm² at opening {:.2}, but \"met\" needs ± {:.0} % or better; measure {} first",
        sheet.name,
        worst.effective_mm2,
        worst.standard_uncertainty_mm2,
        worst.opening,
        100.0 * AREA_KNOWN_TO,
        first.join(" and ")
    ))
}

/// In words: what is missed, and what the engine will see of it.
pub(super) fn not_met(minimum: &MinimumFlow, unmet: &[Unmet], air: &[AirComparison]) -> Vec<String> {
    let at = |name: &str| air.iter().find(|comparison| comparison.point.name == name);
    let mut words = Vec::new();
    if let MinimumFlow::NotMet { least_mm2, at_deg, wanted_mm2 } = minimum {
        words.push(format!(
            "minimum flow: the ring leaves {least_mm2:.1} mm² at its closed stop ({at_deg:.2}°), the \
             calibration expects {wanted_mm2:.1} mm²; fit a stop that can be set further closed"
        ));
    }
    for miss in unmet {
        let percent = 100.0 * (miss.worst_ratio - 1.0);
        let stretch = format!("openings {:.3} to {:.3}", miss.from, miss.to);
        let effect = match miss.met {
            Met::SameArea => continue,
            Met::AreaTooLarge => at("exhaust brake").map(|brake| {
                format!(
                    "exhaust-brake pressure {:.0} → {:.0} kPa absolute, and boost builds later from low speed",
                    brake.old.exhaust_kpa, brake.new_after.exhaust_kpa
                )
            }),
            Met::AreaTooSmall => at("full load").map(|full| {
                format!(
                    "exhaust pressure {:.0} → {:.0} kPa absolute at full load as mapped; wherever the calibration \
                     opens beyond {:.3} the exhaust backs up, and the guard has less area to open",
                    full.old.exhaust_kpa, full.new_after.exhaust_kpa, miss.from
                )
            }),
        };
        words
            .push(format!("{stretch}: area misses by up to {percent:+.1} %; {}", effect.unwrap_or_default()));
    }
    words
}
