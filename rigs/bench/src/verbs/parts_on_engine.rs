//! The turbo of a measured parts sheet on a scenario's engine, for `simulate` and `campaign`.
//!
//! In: a sheet's file, a scenario. Out: the scenario with nozzle, volute, wheels and rotor of the sheet, and
//! what to tell about them. Refuses sheets as `match` does; nothing is rescaled to fit.

use std::path::Path;

use parts::PartsSheet;
use parts::matching::PartsOnEngine;
use study::scenario::Scenario;

use crate::document::{FlowFactorFrom, GasTorqueFrom, PartsOfRun};
use crate::exit::Failure;

/// What runs with parts rest on, in a sentence.
pub(super) const ON_WHAT_GROUND: &str = "Parts sheets: nozzle area and gas torque come from the geometry; \
     the turbine wheel's throat counts in series. Three things are estimates: turbine efficiency equal to \
     the engine's own at equal nozzle area, the model's flow law at that area, and compressor flow in \
     proportion to trim. Compare parts with parts; set the minimum flow on a gauge and confirm boost on \
     the engine.";

/// A scenario, called as on the command line, with the turbo of a sheet on its engine.
///
/// # Errors
/// A [`Failure`] with everything that is wrong with the sheet, or the field that the engine refuses.
pub(super) fn put_on(
    path: &Path,
    scenario: &Scenario,
    called: &str,
) -> Result<(Scenario, PartsOfRun), Failure> {
    let sheet = PartsSheet::read(path).map_err(Failure::usage)?;
    let file = path.display().to_string();
    let fitted = PartsOnEngine::try_new(&sheet, &scenario.world.engine).map_err(|error| {
        let error = error.within("world.engine");
        Failure::usage(format!("{file}, on the engine of {called}: {error}; nothing was run"))
    })?;
    let mut with_parts = scenario.clone();
    with_parts.world.engine = fitted.engine;
    let is_given = scenario.world.gas_torque.is_some();
    let told = PartsOfRun {
        is_other_size: fitted.is_other_size(),
        ring_flow_factor: fitted.flow_factor,
        flow_factor_from: match scenario.world.engine.ring_flow_factor {
            Some(_) => FlowFactorFrom::Scenario,
            None => FlowFactorFrom::BuiltInAirPath,
        },
        gas_torque_from: if is_given { GasTorqueFrom::Scenario } else { GasTorqueFrom::Sheet },
        estimated: sheet.quantities().filter(|(_, q)| q.is_estimated()).map(|(f, _)| f.path()).collect(),
        name: sheet.name,
        note: sheet.note,
        file,
        closed: fitted.closed,
        open: fitted.open,
    };
    Ok((with_parts, told))
}

impl PartsOfRun {
    /// What a person should know of them, a sentence a line.
    pub(super) fn lines(&self) -> Vec<String> {
        let note = if self.note.is_empty() { String::new() } else { format!(", {}", self.note) };
        let mut lines = vec![format!(
            "{} ({}{note}): effective area of volute, nozzle and wheel: closed {:.1} mm², {:.2} × this engine's own; open {:.1} mm², {:.2} ×",
            self.name,
            self.file,
            self.closed.area_mm2,
            self.closed.ratio(),
            self.open.area_mm2,
            self.open.ratio()
        )];
        let from = match self.flow_factor_from {
            FlowFactorFrom::Scenario => "given by the scenario",
            FlowFactorFrom::BuiltInAirPath => "as the built-in air path needs",
        };
        lines.push(format!("measured areas count × {}: ring_flow_factor, {from}", self.ring_flow_factor));
        if self.is_other_size {
            lines.push(
                "open area far from this engine's own: the ring is wrong, or for another engine; nothing \
                 was rescaled (`match` scales the engine to the old nozzle; `ring_flow_factor` in \
                 [world.engine] scales every measured ring)"
                    .to_owned(),
            );
        }
        if self.gas_torque_from == GasTorqueFrom::Scenario {
            lines.push(
                "gas torque by the scenario's own coefficients, not by the sheet's geometry".to_owned(),
            );
        }
        if !self.estimated.is_empty() {
            lines.push(format!("estimated, not measured: {}", self.estimated.join(", ")));
        }
        lines
    }
}
