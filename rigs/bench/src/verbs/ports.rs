//! `ports`: what there is to connect to.

use crate::console::Console;
use crate::document::PortsDocument;
use crate::exit::{Exit, VerbResult};
use crate::port;
use crate::virtual_units;

/// What `ports` takes: nothing.
#[derive(Debug, clap::Args)]
pub struct Args {}

/// Lists serial ports and virtual units.
///
/// # Errors
/// None: no port at all is an answer too.
pub fn run(_args: &Args, console: &Console) -> VerbResult {
    let found = PortsDocument { serial: port::found(), r#virtual: virtual_units::all() };
    console.result(&text(&found), &found)?;
    Ok(Exit::Done)
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
    lines.push("Virtual units (invented), for --port virtual:NAME, virtual:NAME,paced or, on the emulated board, board:NAME:".into());
    for unit in &found.r#virtual {
        lines.push(format!("  {:<24} {}", unit.name, unit.what));
    }
    lines.join("\n")
}
