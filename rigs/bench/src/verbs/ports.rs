//! `ports`: what there is to connect to.

use crate::console::Console;
use crate::exit::{Exit, VerbResult};

/// What `ports` takes: nothing.
#[derive(Debug, clap::Args)]
pub struct Args {}

/// Lists serial ports and virtual units.
///
/// # Errors
/// None so far.
pub fn run(_args: &Args, console: &Console) -> VerbResult {
    console.result("", &serde_json::json!({}));
    Ok(Exit::Done)
}
