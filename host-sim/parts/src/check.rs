//! Checks that a sheet's values make a turbo together.
//!
//! In: a sheet whose single values were plausible. Out: findings: swapped diameters or stops, overlapping
//! vanes, a throat that narrows again, vanes that reach the wheel, a volute inside the ring, an impossible or half-measured linkage.

use super::field::Field;
use super::pendulum_sheet::{PENDULUM, PLATFORM};
use super::problem::{Problem, SheetFinding, Wheel};
use super::sheet::{ActsOn, PartsSheet};
use super::wheels::turbine_in_flow;
use plant::nozzle::NozzleModel;

/// Where a field stands in the file.
type LineOf<'a> = &'a dyn Fn(Field) -> Option<usize>;

pub(super) fn check(sheet: &PartsSheet, line: LineOf<'_>) -> Vec<SheetFinding> {
    let mut findings = Vec::new();
    let mut report = |field: Field, problem: Problem| {
        findings.push(SheetFinding { line: line(field), field: field.path(), problem });
    };
    wheels(sheet, &mut report);
    turbine_throat(sheet, &mut report);
    indexing(sheet, &mut report);
    sets_are_whole(sheet, &mut report);
    let unreached = [(closed_by(sheet), sheet.closed_deg()), (Field::ThroatOpen, sheet.open_deg())];
    for (field, _) in unreached.into_iter().filter(|(_, angle)| angle.is_nan()) {
        report(field, Problem::StopNotReached);
    }
    if unreached.iter().any(|(_, angle)| angle.is_nan()) {
        return findings;
    }
    let linkage_whole = linkage_is_whole(sheet, &mut report);
    let (closed, open) = (sheet.closed_deg(), sheet.open_deg());
    if open <= closed {
        report(Field::OpenAngle, Problem::StopsSwapped { closed, open });
        return findings;
    }
    match sheet.nozzle() {
        Err(error) => report(Field::VaneChord, error.into()),
        Ok(nozzle) => {
            ring(sheet, &nozzle, &mut report);
            if linkage_whole && let Err(error) = nozzle.linkage.check() {
                report(Field::RodLength, error.into());
            }
        }
    }
    findings
}

fn wheels(sheet: &PartsSheet, report: &mut dyn FnMut(Field, Problem)) {
    let (inducer, exducer) = (sheet.value(Field::CompressorInducer), sheet.value(Field::CompressorExducer));
    if inducer >= exducer {
        let rule = "air leaves a compressor wheel at its larger diameter, the exducer";
        let wheel = Wheel::Compressor;
        report(Field::CompressorInducer, Problem::DiametersSwapped { wheel, inducer, exducer, rule });
    }
    let (inducer, exducer) = (sheet.value(Field::TurbineInducer), sheet.value(Field::TurbineExducer));
    if exducer >= inducer {
        let rule = "gas enters a radial turbine wheel at its larger diameter, the inducer";
        let wheel = Wheel::Turbine;
        report(Field::TurbineInducer, Problem::DiametersSwapped { wheel, inducer, exducer, rule });
    }
}

/// A wheel through whose exducer the gas can leave.
fn turbine_throat(sheet: &PartsSheet, report: &mut dyn FnMut(Field, Problem)) {
    let (hub, exducer) = (sheet.value(Field::TurbineHub), sheet.value(Field::TurbineExducer));
    if hub >= exducer {
        report(Field::TurbineHub, Problem::HubTooLarge { hub, exducer });
        return;
    }
    let throat = turbine_in_flow(sheet).throat_mm2;
    if throat <= 0.0 {
        report(Field::TurbineExitAngle, Problem::NoThroat { throat, blades: sheet.turbine_blades.value });
    }
}

fn ring(sheet: &PartsSheet, nozzle: &NozzleModel, report: &mut dyn FnMut(Field, Problem)) {
    let (closed, open) = (nozzle.closed_deg, nozzle.open_deg);
    if nozzle.ring.gap_mm(closed) <= 0.0 {
        let least = nozzle.least_clear_deg();
        report(Field::ClosedAngle, Problem::VanesOverlap { closed, least });
        return;
    }
    if let Some(least) = sheet.get(Field::LeastAngle) {
        if least.value > closed {
            report(Field::LeastAngle, Problem::StopsSwapped { closed: least.value, open: closed });
        } else if nozzle.ring.gap_mm(least.value) <= 0.0 {
            let problem = Problem::VanesOverlap { closed: least.value, least: nozzle.least_clear_deg() };
            report(Field::LeastAngle, problem);
        }
    }
    if let Some(peak) = nozzle.area_peak_deg() {
        report(Field::OpenAngle, Problem::AreaFalls { open, peak });
    }
    let (tip, wheel) = (nozzle.ring.trailing_radius_mm(open), sheet.value(Field::TurbineInducer) / 2.0);
    if tip <= wheel {
        report(Field::TurbineInducer, Problem::VanesReachWheel { tip, wheel });
    }
    let (volute, pivots) = (sheet.value(Field::VoluteRadius), sheet.value(Field::PivotRadius));
    if volute <= pivots {
        report(Field::VoluteRadius, Problem::VoluteInsideRing { volute, ring: pivots });
    }
}

/// The linkage is measured as a whole or not at all.
fn linkage_is_whole(sheet: &PartsSheet, report: &mut dyn FnMut(Field, Problem)) -> bool {
    // Travel and pin radius are of use alone; these four only together with them.
    const TOGETHER: [Field; 4] =
        [Field::LeverClosedAngle, Field::RodLength, Field::RingLever, Field::PivotDistance];
    const WITH_THEM: [Field; 3] = [Field::LeverLength, Field::LeverTravel, Field::PinRadius];
    let is_there = |field: &Field| sheet.get(*field).is_some();
    if !TOGETHER.iter().any(is_there) {
        return true;
    }
    let present: Vec<String> =
        TOGETHER.iter().chain(&WITH_THEM).copied().filter(|f| is_there(f)).map(Field::path).collect();
    let mut whole = true;
    for field in TOGETHER.iter().chain(&WITH_THEM).copied().filter(|field| !is_there(field)) {
        report(field, Problem::LinkageIncomplete { present: present.join(", ") });
        whole = false;
    }
    whole
}

/// What tells where the closed stop stands.
fn closed_by(sheet: &PartsSheet) -> Field {
    let gauged = [Field::FlowClosed, Field::ThroatClosed];
    gauged.into_iter().find(|&field| sheet.get(field).is_some()).unwrap_or(Field::ClosedAngle)
}

/// Values that are of use only together.
fn sets_are_whole(sheet: &PartsSheet, report: &mut dyn FnMut(Field, Problem)) {
    const BENCH: [Field; 4] =
        [Field::FlowClosed, Field::FlowDrop, Field::FlowRoomPressure, Field::FlowRoomTemperature];
    const SCREW: [Field; 3] = [Field::StopScrewPitch, Field::StopScrewRadius, Field::PinRadius];
    let swing = [Field::PendulumRadius, Field::PendulumLength, Field::PendulumPeriod];
    let sets: [(&[Field], &[Field]); 4] =
        [(&BENCH, &BENCH), (&SCREW[..2], &SCREW), (&swing, &PENDULUM), (&PLATFORM, &PLATFORM)];
    for (asks, needs) in sets {
        let present: Vec<String> =
            asks.iter().copied().filter(|&field| sheet.get(field).is_some()).map(Field::path).collect();
        if present.is_empty() {
            continue;
        }
        for &field in needs.iter().filter(|&&field| sheet.get(field).is_none()) {
            report(field, Problem::SetIncomplete { present: present.join(", ") });
        }
    }
}

fn indexing(sheet: &PartsSheet, report: &mut dyn FnMut(Field, Problem)) {
    for link in &sheet.indexing.chain {
        let (on, needed) = match link.acts_on {
            ActsOn::Vane => continue,
            ActsOn::Ring => ("ring", Field::PinRadius),
            ActsOn::Lever => ("lever", Field::LeverTravel),
        };
        if sheet.get(needed).is_none() {
            report(needed, Problem::IndexingNeeds { on, needs: needed.path() });
        }
    }
}
