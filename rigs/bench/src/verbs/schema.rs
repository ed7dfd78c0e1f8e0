//! `schema`: what the documents of `--json` look like.

use crate::console::Console;
use crate::document::{Described, Kind, SchemasDocument};
use crate::exit::{Exit, Failure, VerbResult};

/// What `schema` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Kind of document; without it, the kinds are listed
    #[arg(value_enum)]
    kind: Option<Kind>,
}

/// Prints a schema, or the list of kinds.
///
/// # Errors
/// When standard output takes nothing more.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let document = SchemasDocument::of(args.kind);
    let text = match (args.kind, document.schemas.first()) {
        (Some(_), Some(one)) => serde_json::to_string_pretty(&one.schema).map_err(Failure::undetermined)?,
        (Some(_) | None, _) => {
            let line = |one: &Described| format!("{:<16} {}", one.kind.word(), one.about);
            document.schemas.iter().map(line).collect::<Vec<_>>().join("\n")
        }
    };
    console.result(&text, &document)?;
    Ok(Exit::Done)
}
