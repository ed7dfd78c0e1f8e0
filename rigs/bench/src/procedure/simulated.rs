//! Runs a scenario with the profile's controller settings and keeps it as a run of the unit.
//!
//! In: a scenario, settings, a seed. Out: a run folder with the traces as `series.csv` and each change of the
//! guard as a mark. The plant is `host-sim/`; nothing here knows an equation.

use std::path::PathBuf;

use firmware_core::units::Tick;
use study::run::{RunOutcome, TimedEvent, run_scenario};
use study::scenario::Scenario;

use super::target::Target;
use crate::caution::Acknowledged;
use crate::exit::Failure;
use crate::record::{Column, Conditions, GUARD_LIMIT, Mark, RunInfo, RunKind, RunStatus, RunWriter, Series};

/// Ticks in a second, for the time stamps of guard events.
const TICKS_PER_SECOND: f64 = 1000.0;

/// Simulates and records; gives the run's folder.
///
/// # Errors
/// When the world refuses the scenario or runs away, or the disk refuses.
pub(crate) fn record_simulation(target: &Target, scenario: &Scenario) -> Result<PathBuf, Failure> {
    let settings = &target.profile.settings;
    let outcome = run_scenario(scenario, settings, target.seed).map_err(Failure::undetermined)?;
    let info = RunInfo {
        kind: RunKind::Simulate,
        unit: target.unit.clone(),
        profile: target.profile.name.clone(),
        setup: target.setup,
        warmth: target.warmth,
        cautions: Acknowledged::VirtualRig,
        seed: Some(target.seed),
        virtual_unit: target.virtual_unit(),
        software: concat!("vanebench ", env!("CARGO_PKG_VERSION")).into(),
        controller: "controller core in simulation".into(),
        provenance: None,
    };
    let mut conditions = Conditions::new();
    conditions.insert("scenario".into(), format!("{}: {}", scenario.name, scenario.about));
    conditions.insert("engine".into(), "bench engine A, invented; mean-value air path, no surge".into());
    let mut writer = RunWriter::create(&target.unit_dir, info, conditions).map_err(Failure::undetermined)?;
    writer.profile(&target.profile.text).map_err(Failure::undetermined)?;
    let limit = f64::from(settings.guard.limits.boost.0);
    let written = write(&mut writer, &outcome, limit);
    let status = match &written {
        Ok(()) => RunStatus::Complete,
        Err(error) => RunStatus::Incomplete { reason: error.to_string() },
    };
    let dir = writer.close(status).map_err(Failure::undetermined)?;
    written.map(|()| dir)
}

fn write(writer: &mut RunWriter, outcome: &RunOutcome, limit_kpa: f64) -> Result<(), Failure> {
    for TimedEvent { t_s, event } in &outcome.events {
        let tick = Tick((t_s.max(0.0) * TICKS_PER_SECOND) as u32);
        let text = format!("guard {} ({})", event.to.name(), event.cause.name());
        writer.mark(tick, Mark::Note(text)).map_err(Failure::undetermined)?;
    }
    writer.series(&series(outcome, limit_kpa)).map_err(Failure::undetermined)
}

fn series(outcome: &RunOutcome, limit_kpa: f64) -> Series {
    let rows = &outcome.trace.rows;
    let mut columns: Vec<Column> = study::trace::COLUMNS
        .iter()
        .map(|column| Column {
            name: column.name.to_owned(),
            unit: column.unit.to_owned(),
            values: rows.iter().map(|row| (column.value)(row)).collect(),
        })
        .collect();
    columns.push(Column {
        name: GUARD_LIMIT.into(),
        unit: "kPa".into(),
        values: vec![limit_kpa; rows.len()],
    });
    Series { columns }
}
