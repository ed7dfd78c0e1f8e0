//! `ports`: what there is to connect to.

use serde::Serialize;

use crate::console::Console;
use crate::exit::{Exit, VerbResult};
use crate::port::{self, FoundPort};
use crate::virtual_units::{self, VirtualUnit};

/// What `ports` takes: nothing.
#[derive(Debug, clap::Args)]
pub struct Args {}

#[derive(Serialize)]
struct Told {
    serial: Vec<FoundPort>,
    r#virtual: Vec<VirtualUnit>,
}

/// Lists serial ports and virtual units.
///
/// # Errors
/// None: no port at all is an answer too.
pub fn run(_args: &Args, console: &Console) -> VerbResult {
    let told = Told { serial: port::found(), r#virtual: virtual_units::all() };
    console.result(&text(&told), &told)?;
    Ok(Exit::Done)
}

fn text(told: &Told) -> String {
    let mut lines = vec!["Serial ports of this machine:".to_owned()];
    if told.serial.is_empty() {
        lines.push("  none found; any device path can be given to --port all the same".into());
    }
    for port in &told.serial {
        let product = port.product.as_deref().unwrap_or("");
        lines.push(format!("  {:<24} {:<10} {product}", port.name, port.kind));
    }
    lines.push("Virtual units (invented), for --port virtual:NAME, virtual:NAME,paced or, on the emulated board, board:NAME:".into());
    for unit in &told.r#virtual {
        lines.push(format!("  {:<24} {}", unit.name, unit.what));
    }
    lines.join("\n")
}
