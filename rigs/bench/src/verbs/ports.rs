//! `ports`: what there is to connect to.

use study::catalogue;

use crate::actuator;
use crate::console::Console;
use crate::document::{Choice, PortsDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
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
    console.result(&text(&found, Fold::of_the_reader()), &found)?;
    Ok(Exit::Done)
}

fn choices(choices: &[Choice]) -> Vec<Vec<String>> {
    choices.iter().map(|choice| vec![choice.name.to_owned(), choice.what.clone()]).collect()
}

fn text(found: &PortsDocument, fold: Fold) -> String {
    let serial: Vec<Vec<String>> = found
        .serial
        .iter()
        .map(|port| {
            let product = port.product.clone().unwrap_or_default();
            vec![port.name.clone(), port.kind.to_owned(), product]
        })
        .collect();
    let serial = if serial.is_empty() {
        "none found; --port still takes any device path".to_owned()
    } else {
        fold.table(&serial)
    };
    let actuators =
        "Actuators (invented), for --port virtual:ACTUATOR/CASE; virtual:CASE is the first of them:";
    let cases = "Cases; `CASE,paced` follows the clock, `board:CASE` runs on the emulated board:";
    [
        "Serial ports of this machine:".to_owned(),
        serial,
        format!("\n{actuators}"),
        fold.table(&choices(&found.actuators)),
        format!("\n{cases}"),
        fold.table(&choices(&found.cases)),
    ]
    .join("\n")
}
