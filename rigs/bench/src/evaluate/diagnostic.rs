//! A diagnostic friction run: a picture of where the lever binds. It weighs nothing in a verdict.

use firmware_core::command::Command;

use super::{Exhibit, Shown};
use crate::figures::binding::{Picture, RampSample, Sound};
use crate::judge::Evidence;
use crate::profile::Profile;
use crate::record::Run;

pub(super) fn evaluate(run: &Run, profile: &Profile) -> Shown {
    let exhibit = picture(run, profile).map(Exhibit::Diagnostic);
    Shown { evidence: Evidence::default(), exhibit }
}

/// What a diagnostic run shows; nothing where it holds no ramp.
#[must_use]
pub fn picture(run: &Run, profile: &Profile) -> Option<Picture> {
    let pushes: Vec<RampSample> = run
        .samples()
        .filter_map(|sample| {
            let Command::Current(asked) = sample.command else { return None };
            let current = sample.motor_current?;
            let counts = f64::from(sample.position.0);
            Some(RampSample { asked: asked.0.into(), current: current.0.into(), counts })
        })
        .collect();
    let actuator = &profile.settings.actuator;
    let windows = profile.settings.learn.windows.of(run.file.run.setup, run.file.run.warmth);
    let [closed, open] = [windows.closed, windows.open].map(|w| (f64::from(w.min.0), f64::from(w.max.0)));
    let open_sign = f64::from(actuator.counts_direction.sign());
    Picture::try_new(&pushes, &Sound { open_sign, span: actuator.nominal_span_counts.into(), closed, open })
}
