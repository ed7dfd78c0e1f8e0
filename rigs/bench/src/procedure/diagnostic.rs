//! The low-current look at a unit that has no calibration in force: where does the lever bind?
//!
//! In: the profile's current limit and the stops of a sound unit. Out: a closed friction run, marked as diagnostic, in
//! raw counts and without openings, and what it shows. Open loop: no position is ever asked for.

use std::path::PathBuf;

use firmware_core::controller::DIAGNOSTIC_CURRENT_SHARE;
use firmware_core::motion::{Footing, Goal, Segment};
use firmware_core::units::Ampere;

use super::bench::Bench;
use super::look::Look;
use super::moves::run_pieces;
use super::observer::Observer;
use super::pieces::Piece;
use super::recording::{NewRun, Recording};
use super::stop::RunStop;
use super::target::Target;
use crate::record::{Conditions, Ground, RunKind, RunResult};
use crate::rig::Measurand;

/// Time from nothing to the largest current, ticks: slow enough that the lever is seen to let go.
const RAMP_TICKS: u32 = 2000;
/// Time at the largest current, ticks: long enough to come to rest.
const HOLD_TICKS: u32 = 300;

/// Largest current that the diagnostic ramps ask for: all that the board allows without a calibration.
#[must_use]
pub(crate) fn diagnostic_peak(target: &Target) -> Ampere {
    Ampere(target.profile.settings.actuator.max_current.0 * DIAGNOSTIC_CURRENT_SHARE)
}

/// Runs the ramps and records them; `because` says why no calibration is in force.
///
/// # Errors
/// [`RunStop`] says what cut it short; the record is kept, marked incomplete.
pub fn record_diagnostic(
    bench: &mut Bench,
    target: &Target,
    because: String,
    observer: &mut dyn Observer,
) -> Result<PathBuf, RunStop> {
    bench.must_measure("a look at low current", &Measurand::ALL)?;
    bench.be_ready(target)?;
    let peak = diagnostic_peak(target);
    let serials = target.serials.clone();
    let run = NewRun { kind: RunKind::Friction, calibration: None, conditions: conditions(peak), serials };
    let mut recording = Recording::create(target, bench, run, observer)?;
    recording.look_on(Look::at_unlearned(&target.profile.settings, None));
    let ground = Some(Ground::Diagnostic { because, peak_current_a: peak.0 });
    recording.writer.outcome(RunResult { ground, ..RunResult::default() });
    // Closed, open and closed again: wherever it stood, each way is gone over once from the other end.
    let pieces = [-1.0, 1.0, -1.0].map(|way| Piece::once(ramp(Ampere(way * peak.0))));
    let ended = run_pieces(bench, target, &mut recording, &pieces, Footing::Diagnostic);
    recording.close(bench, ended).map(|((), dir)| dir)
}

/// From nothing to a current, held, and back.
fn ramp(peak: Ampere) -> Vec<Segment> {
    let to = |current, ticks| Segment { goal: Goal::Current(current), ticks };
    let nothing = Ampere(0.0);
    vec![to(nothing, 0), to(peak, RAMP_TICKS), to(peak, HOLD_TICKS), to(nothing, RAMP_TICKS)]
}

fn conditions(peak: Ampere) -> Conditions {
    let notes = [
        ("sample_rate", "1000 1/s".to_owned()),
        ("loop", "open, current ramp; no calibration in force".to_owned()),
        ("range", format!("-{0} to {0} A", peak.0)),
        ("ramp", format!("{RAMP_TICKS} ms from 0 to the largest current, and back")),
    ];
    notes.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}
