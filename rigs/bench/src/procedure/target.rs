//! What a verb works on: which unit, on which port, under which profile and limits, kept where.
//!
//! In: command-line options. Out: a [`Target`] with every file read and checked before anything moves.

use std::path::PathBuf;

use clap::ValueEnum;
use firmware_core::calibration::{Setup, Warmth};

use crate::caution::{HandsClear, LeverMotion};
use crate::criteria::CriteriaArgs;
use crate::exit::Failure;
use crate::limits::Limits;
use crate::port::PortSpec;
use crate::profile::Profile;
use crate::record::{Job, Serials};
use crate::short_text::ShortText;
use crate::unit_name::{UnitName, UnitNameError};
use crate::unit_store::WantedUnit;

/// How the actuator is mounted, as said on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum SetupWord {
    /// Actuator alone, against its internal stops
    Free,
    /// Attached to the vane ring on the bench
    Attached,
    /// On the engine
    OnEngine,
}

/// Cold or hot, as said on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum WarmthWord {
    /// Near room temperature
    Cold,
    /// Heat-soaked
    Hot,
}

/// Options of every verb that moves a unit.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct TargetArgs {
    /// Serial port: a device path; `virtual:CASE` or `virtual:ACTUATOR/CASE`, with `,paced` on wall-clock time, for the
    /// built-in rig; `board:…` for the same with its controller on the emulated board
    #[arg(long, value_name = "PORT")]
    pub port: Option<PortSpec>,
    /// Name of the unit; its records are kept under it [default: the virtual unit's name]
    #[arg(long, value_name = "NAME")]
    pub unit: Option<String>,
    /// Folder that holds the records, one folder for each unit
    #[arg(long, value_name = "DIR", default_value = "units")]
    pub records: PathBuf,
    /// By what the unit is measured.
    #[command(flatten)]
    pub criteria: CriteriaArgs,
    /// How the actuator is mounted [default: attached]
    #[arg(long, value_enum)]
    pub setup: Option<SetupWord>,
    /// Cold or hot
    #[arg(long, value_enum, default_value_t = WarmthWord::Cold)]
    pub warmth: WarmthWord,
    /// Seed of a virtual unit's scatter; the same seed gives the same bytes
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Show the emulated board's log on standard error, with its times and the frames lost
    #[arg(long)]
    pub log: bool,
    /// Serial numbers.
    #[command(flatten)]
    pub serials: Serials,
    /// The job.
    #[command(flatten)]
    pub job: Job,
    /// Name of the person beside the unit; kept in the run
    #[arg(long, value_name = "NAME")]
    pub operator: Option<ShortText>,
    /// The customer's reference; kept in the run and shown on the report
    #[arg(long, value_name = "TEXT")]
    pub customer: Option<ShortText>,
    /// The acknowledgement.
    #[command(flatten)]
    pub hands_clear: HandsClear,
}

/// Everything known before the port is opened.
#[derive(Debug, Clone)]
pub struct Target {
    /// Where the unit is reached.
    pub port: PortSpec,
    /// The unit's name.
    pub unit: String,
    /// Folder of the unit's records.
    pub unit_dir: PathBuf,
    /// The actuator's profile.
    pub profile: Profile,
    /// The acceptance limits.
    pub limits: Limits,
    /// How the actuator is mounted.
    pub setup: Setup,
    /// Cold or hot.
    pub warmth: Warmth,
    /// Seed of a virtual unit.
    pub seed: u64,
    /// Serial numbers, where they are given.
    pub serials: Serials,
    /// The job and the unit's state in it.
    pub job: Job,
    /// The person beside the unit, where it is named.
    pub operator: Option<ShortText>,
    /// The customer's reference, where it is given.
    pub customer: Option<ShortText>,
}

fn logged(port: &PortSpec) -> Result<PortSpec, Failure> {
    port.logged().ok_or_else(|| {
        Failure::usage(format!(
            "--log: port {port} has no log. Allowed: `--port board` or `--port board:CASE`."
        ))
    })
}

impl TargetArgs {
    /// Reads profile and limits and names the unit.
    ///
    /// # Errors
    /// Says which file, field or option is wrong.
    pub(crate) fn read(&self) -> Result<Target, Failure> {
        let port = self.port()?;
        let (profile, limits) = self.criteria.read(port.actuator())?;
        let unit = self.unit_name(port)?;
        if let PortSpec::Device(path) = port {
            self.criteria.of_a_real_unit(&profile, path)?;
        }
        let unit_dir = unit.folder_in(&self.records).map_err(refused_name)?;
        let port = if self.log { &logged(port)? } else { port };
        Ok(Target {
            port: port.clone(),
            unit: unit.to_string(),
            unit_dir,
            profile,
            limits,
            setup: self.setup.unwrap_or(SetupWord::Attached).into(),
            warmth: self.warmth.into(),
            seed: self.seed,
            serials: self.serials.clone(),
            job: self.job.clone(),
            operator: self.operator.clone(),
            customer: self.customer.clone(),
        })
    }

    fn port(&self) -> Result<&PortSpec, Failure> {
        self.port.as_ref().ok_or_else(|| {
            Failure::usage(
                "--port is missing: a device path such as /dev/ttyUSB0 or COM3, `virtual:CASE`, \
                 `virtual:ACTUATOR/CASE` or `board:…`; `vanebench ports` lists what there is",
            )
        })
    }

    fn unit_name(&self, port: &PortSpec) -> Result<UnitName, Failure> {
        let name = match (&self.unit, port) {
            (Some(name), _) => name.clone(),
            (None, PortSpec::Virtual { unit, .. }) => unit.actuator.own(&unit.case),
            (None, PortSpec::Device(_)) => {
                return Err(Failure::usage(
                    "--unit is missing: give the unit a name, such as the number on its tag, so that its \
                     record can be found again.",
                ));
            }
        };
        UnitName::parse(&name).map_err(refused_name)
    }
}

fn refused_name(error: UnitNameError) -> Failure {
    Failure::usage(format!("--unit: {error}."))
}

impl Target {
    /// Whether a real lever will move.
    #[must_use]
    pub fn motion(&self) -> LeverMotion {
        match self.port {
            PortSpec::Virtual { .. } => LeverMotion::Simulated,
            PortSpec::Device(_) => LeverMotion::Real,
        }
    }

    /// What a calibration must fit.
    #[must_use]
    pub fn wanted(&self) -> WantedUnit<'_> {
        WantedUnit {
            unit: &self.unit,
            unit_dir: &self.unit_dir,
            setup: self.setup,
            warmth: self.warmth,
            settings: self.profile.settings.hash(),
            serials: &self.serials,
        }
    }

    /// Name of the virtual unit, where it is one.
    #[must_use]
    pub fn virtual_unit(&self) -> Option<String> {
        match &self.port {
            PortSpec::Virtual { unit, .. } => Some(unit.to_string()),
            PortSpec::Device(_) => None,
        }
    }
}

impl From<SetupWord> for Setup {
    fn from(word: SetupWord) -> Self {
        match word {
            SetupWord::Free => Self::Free,
            SetupWord::Attached => Self::Attached,
            SetupWord::OnEngine => Self::OnEngine,
        }
    }
}

impl From<WarmthWord> for Warmth {
    fn from(word: WarmthWord) -> Self {
        match word {
            WarmthWord::Cold => Self::Cold,
            WarmthWord::Hot => Self::Hot,
        }
    }
}
