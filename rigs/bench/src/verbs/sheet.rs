//! `sheet`: papers that a person fills in. Nothing moves.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use parts::TEMPLATE;

use super::parts_sheet;
use crate::caution::Effect;
use crate::console::Console;
use crate::document::SheetDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::report::sheet::{ITEMS, SHEET_FILE, template};

/// What `sheet` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    about: SheetVerb,
}

#[derive(Debug, clap::Subcommand)]
enum SheetVerb {
    /// Write an empty sheet, every entry explained: of a turbo's parts, or of a unit's acceptance
    New {
        /// NAME.toml: a parts sheet under that name; a unit's folder, such as units/NAME: its
        /// acceptance sheet. An existing sheet stays as it is
        #[arg(value_name = "NAME.toml|UNIT_DIR")]
        place: PathBuf,
    },
    /// Compare two parts sheets: what differs, by how much, and whether the measurement can tell
    Compare {
        /// Parts sheet of the first turbo
        one: PathBuf,
        /// Parts sheet of the second
        two: PathBuf,
    },
}

impl Args {
    pub(crate) fn effect(&self) -> Effect {
        match self.about {
            SheetVerb::New { .. } | SheetVerb::Compare { .. } => Effect::Neither,
        }
    }
}

/// Runs the verb.
///
/// # Errors
/// When a sheet is there already, or the disk refuses.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        SheetVerb::New { place } => new(place, console),
        SheetVerb::Compare { one, two } => parts_sheet::compare(one, two, console),
    }
}

fn new(place: &Path, console: &Console) -> VerbResult {
    let (path, text, items, next) = if place.is_dir() {
        let items = ITEMS.map(|item| item.key).to_vec();
        (place.join(SHEET_FILE), template(), items, "fill it in; `vanebench report` prints it")
    } else if place.extension().is_some_and(|ending| ending == "toml") {
        let next = "fill in what you can measure, then `vanebench match`";
        (place.to_owned(), TEMPLATE.to_owned(), Vec::new(), next)
    } else {
        return Err(Failure::usage(format!(
            "{}: neither a unit's folder nor NAME.toml. For a turbo's parts, give a file name that ends in \
             .toml; for a unit's acceptance, give its folder, such as units/NAME.",
            place.display()
        )));
    };
    let shown = path.display().to_string();
    let refused = |error: std::io::Error| {
        let kind = error.kind();
        if kind == ErrorKind::AlreadyExists {
            Failure::usage(format!(
                "{shown}: this sheet already exists and stays as it is. Fill it in, or give another name."
            ))
        } else if kind == ErrorKind::NotFound {
            Failure::usage(format!("{shown}: no such folder. Make it first, or give another name."))
        } else {
            Failure::undetermined(format!(
                "{shown}: {error}. Check free space and write permission, then run again."
            ))
        }
    };
    let mut file = File::create_new(&path).map_err(refused)?;
    file.write_all(text.as_bytes()).map_err(refused)?;
    let words = Fold::of_the_reader().paragraph(&format!("{shown}\nWritten: {next}."));
    console.result(&words, &SheetDocument { file: shown, items })?;
    Ok(Exit::Done)
}
