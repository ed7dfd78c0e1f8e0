//! The limits on which an endurance stops itself.
//!
//! In: limits file and profile, then strokes one by one. Out: a [`PassedLimit`] once one was passed in several strokes in
//! a row.

use super::target::Target;
use crate::figures::{Measure, Sensor};
use crate::record::{FaultOf, LIMIT_PASSED, RunRefusal, StrokeSummary};

/// Strokes in a row that must pass a limit: one may be a knock or a hole in the record; own choice.
const IN_A_ROW: u32 = 3;

/// A limit that was passed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the endurance stopped itself at stroke {stroke}: {what} {seen:.2} {unit} in {IN_A_ROW} strokes in a \
     row; allowed: {allowed}. {advice}"
)]
pub struct PassedLimit {
    pub(super) stroke: u32,
    pub(super) what: &'static str,
    pub(super) unit: &'static str,
    pub(super) seen: f64,
    pub(super) allowed: String,
    pub(super) advice: &'static str,
}

impl PassedLimit {
    pub(super) fn refusal(&self) -> RunRefusal {
        let Self { stroke, what, unit, seen, allowed, advice } = self;
        RunRefusal {
            reason: LIMIT_PASSED.into(),
            seen: format!("{what} {seen:.2} {unit} up to stroke {stroke}; allowed: {allowed}"),
            advice: (*advice).into(),
            fault_of: FaultOf::Unit,
        }
    }
}

/// One watched value.
pub(super) struct WatchedLimit {
    what: &'static str,
    unit: &'static str,
    least: f64,
    most: f64,
    advice: &'static str,
    of: fn(&StrokeSummary) -> Option<f64>,
    in_a_row: u32,
}

impl WatchedLimit {
    /// Takes a stroke.
    pub(super) fn check(&mut self, stroke: &StrokeSummary) -> Result<(), PassedLimit> {
        let Some(seen) = (self.of)(stroke) else { return Ok(()) };
        if (self.least..=self.most).contains(&seen) {
            self.in_a_row = 0;
            return Ok(());
        }
        self.in_a_row += 1;
        if self.in_a_row < IN_A_ROW {
            return Ok(());
        }
        let Self { what, unit, advice, .. } = *self;
        Err(PassedLimit { stroke: stroke.number, what, unit, seen, allowed: self.allowed(), advice })
    }

    fn allowed(&self) -> String {
        let Self { least, most, unit, .. } = self;
        match (least.is_finite(), most.is_finite()) {
            (true, true) => format!("{least} to {most} {unit}"),
            (true, false) => format!("at least {least} {unit}"),
            (false, _) => format!("at most {most} {unit}"),
        }
    }
}

/// What is watched: limits of the limits file, the winding's lasting current, the housing's temperature.
pub(super) fn watched(target: &Target, hottest_c: Option<f64>) -> Vec<WatchedLimit> {
    const REST: &str = "The lever does not reach its commanded place: look for play, wear, a loose lever \
        or stop, then learn again.";
    let bound = |measure| target.limits.of(measure);
    let most = |measure| bound(measure).and_then(|b| b.max).unwrap_or(f64::INFINITY);
    let least = |measure| bound(measure).and_then(|b| b.min).unwrap_or(f64::NEG_INFINITY);
    let (low, high) =
        (least(Measure::InaccuracyLow(Sensor::Own)), most(Measure::InaccuracyHigh(Sensor::Own)));
    let limit = |what, unit, (least, most), advice, of| WatchedLimit {
        what,
        unit,
        least,
        most,
        advice,
        of,
        in_a_row: 0,
    };
    let up_to = |most| (f64::NEG_INFINITY, most);
    vec![
        limit("rest error at the closed end", "% of travel", (low, high), REST, |s| {
            Some(f64::from(s.off_percent[0]))
        }),
        limit("rest error at the open end", "% of travel", (low, high), REST, |s| {
            Some(f64::from(s.off_percent[1]))
        }),
        limit(
            "friction",
            "A",
            up_to(most(Measure::FrictionLargest)),
            "Ring or shaft binds: run friction to see where, clean, then start over.",
            |s| Some(f64::from(s.friction_a)),
        ),
        limit(
            "current",
            "A rms",
            up_to(f64::from(target.profile.settings.limits.continuous_current.0)),
            "The winding cannot carry this for long: let it cool, look for friction.",
            |s| Some(f64::from(s.rms_a)),
        ),
        limit(
            "housing",
            "°C",
            up_to(hottest_c.unwrap_or(f64::INFINITY)),
            "Let it cool, then start over, slower or colder.",
            |s| s.celsius.map(f64::from),
        ),
    ]
}
