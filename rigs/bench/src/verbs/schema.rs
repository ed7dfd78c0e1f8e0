//! `schema`: what the documents of `--json` look like.

use crate::console::Console;
use crate::document::{Described, Kind, SchemasDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;

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
    match (args.kind, document.schemas.first()) {
        (Some(_), Some(one)) => {
            let text = serde_json::to_string_pretty(&one.schema).map_err(Failure::undetermined)?;
            console.as_it_is(&text, &document)?;
        }
        (Some(_) | None, _) => {
            let row = |one: &Described| vec![one.kind.word().to_owned(), one.about.to_owned()];
            let rows: Vec<_> = document.schemas.iter().map(row).collect();
            console.result(&Fold::of_the_reader().table(&rows), &document)?;
        }
    }
    Ok(Exit::Done)
}
