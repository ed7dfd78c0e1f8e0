//! `ports`: what there is to connect to.

use study::catalogue;

use crate::actuator;
use crate::console::Console;
use crate::document::{Choice, PortsDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::port;

/// What `ports` takes: nothing.
#[derive(Debug, clap::Args)]
pub struct Args {}

/// Lists serial ports, actuators and cases.
///
/// # Errors
/// None: no port at all is an answer too.
pub fn run(_args: &Args, console: &Console) -> VerbResult {
    let actuators = actuator::ALL
        .iter()
        .map(|actuator| Ok(Choice { name: actuator.name, what: actuator.about().map_err(Failure::usage)? }))
        .collect::<Result<_, Failure>>()?;
    let cases =
        catalogue::all().map(|preset| Choice { name: preset.name, what: preset.about.to_owned() }).collect();
    let found = PortsDocument { serial: port::found(), actuators, cases };
    console.result(&text(&found), &found)?;
    Ok(Exit::Done)
}

fn choice(choice: &Choice) -> String {
    format!("  {:<24} {}", choice.name, choice.what)
}

fn text(found: &PortsDocument) -> String {
    let mut lines = vec!["Serial ports of this machine:".to_owned()];
    if found.serial.is_empty() {
        lines.push("  none found; any device path can be given to --port all the same".into());
    }
    for port in &found.serial {
        let product = port.product.as_deref().unwrap_or("");
        lines.push(format!("  {:<24} {:<10} {product}", port.name, port.kind));
    }
    lines.push(
        "Actuators (invented), for --port virtual:ACTUATOR/CASE; virtual:CASE is the first one's:".into(),
    );
    lines.extend(found.actuators.iter().map(choice));
    lines.push(
        "Cases; `,paced` behind one follows the clock, board: before it runs on the emulated board:".into(),
    );
    lines.extend(found.cases.iter().map(choice));
    lines.join("\n")
}
