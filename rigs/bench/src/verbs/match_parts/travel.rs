//! Learned travel of the new turbo's actuator against its parts sheet.

use std::path::PathBuf;

use firmware_core::calibration::Setup;
use firmware_core::settings::CountsDirection;
use parts::PartsSheet;
use parts::matching::{LearnedCounts, LeverSensor, OpeningSign, TravelCheck, check_travel};

use crate::criteria;
use crate::exit::Failure;
use crate::record::Run;
use crate::unit_result::vouched;

/// The two learns to hold against the new sheet.
#[derive(Debug, clap::Args)]
pub(super) struct TravelArgs {
    /// Run folder of the learn with the actuator alone
    #[arg(long, value_name = "RUN", requires = "attached")]
    free: Option<PathBuf>,
    /// Run folder of the learn with the actuator attached to the new ring
    #[arg(long, value_name = "RUN", requires = "free")]
    attached: Option<PathBuf>,
    /// Profile of that actuator, TOML [default: the built-in one of the runs]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
}

impl TravelArgs {
    /// Checks the learned travel, where two learns were named.
    ///
    /// # Errors
    /// A run without an accepted learn, of the wrong setup, or a sheet that does not tell the travel.
    pub(super) fn check(&self, sheet: &PartsSheet) -> Result<Option<TravelCheck>, Failure> {
        let (Some(free), Some(attached)) = (&self.free, &self.attached) else { return Ok(None) };
        let runs = [vouched(free)?, vouched(attached)?];
        let sensor = self.sensor(&runs)?;
        let [free, attached] = &runs;
        let free = learned(free, |setup| setup == Setup::Free, "free")?;
        let attached = learned(attached, |setup| setup != Setup::Free, "attached or on-engine")?;
        check_travel(sheet, sensor, free, attached).map(Some).map_err(Failure::usage)
    }

    fn sensor(&self, runs: &[Run]) -> Result<LeverSensor, Failure> {
        let profile = criteria::profile(self.profile.as_deref(), criteria::recorded_on(runs))?;
        criteria::same_profile(runs, &profile)?;
        let actuator = &profile.settings.actuator;
        Ok(LeverSensor {
            counts_per_degree: f64::from(actuator.nominal_span_counts) / profile.travel_deg,
            opening_sign: match actuator.counts_direction {
                CountsDirection::OpeningRaises => OpeningSign::Raises,
                CountsDirection::OpeningLowers => OpeningSign::Lowers,
            },
        })
    }
}

fn learned(run: &Run, wanted: impl Fn(Setup) -> bool, name: &str) -> Result<LearnedCounts, Failure> {
    let calibration = run.file.outcome.calibration.ok_or_else(|| {
        Failure::usage(format!("{}: holds no accepted learn; learn the unit again", run.dir.display()))
    })?;
    if !wanted(calibration.setup) {
        return Err(Failure::usage(format!(
            "{}: was learned in setup {}; a learn in setup {name} is needed here",
            run.dir.display(),
            calibration.setup
        )));
    }
    Ok(LearnedCounts {
        closed: f64::from(calibration.closed.zero_push_counts),
        open: f64::from(calibration.open.zero_push_counts),
    })
}
