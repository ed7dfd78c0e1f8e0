//! `sheet`: papers that a person fills in. Nothing moves.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use super::parts_sheet;
use crate::caution::Effect;
use crate::console::Console;
use crate::document::SheetDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::report::sheet::{ITEMS, SHEET_FILE, template};

/// What `sheet` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    about: SheetVerb,
}

#[derive(Debug, clap::Subcommand)]
enum SheetVerb {
    /// Lay an empty acceptance sheet into a unit's folder, every item explained
    New {
        /// The unit's folder, such as units/NAME
        #[arg(value_name = "UNIT_DIR")]
        unit_dir: PathBuf,
    },
    /// Write an empty parts sheet, every entry explained
    Parts {
        /// File to write; one that is there stays as it is
        #[arg(value_name = "SHEET.toml")]
        file: PathBuf,
    },
    /// Lay two parts sheets side by side: what differs, by how much, and whether the measurement can tell
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
            SheetVerb::New { .. } | SheetVerb::Parts { .. } | SheetVerb::Compare { .. } => Effect::Neither,
        }
    }
}

/// Runs the verb.
///
/// # Errors
/// When a sheet is there already, or the disk refuses.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        SheetVerb::New { unit_dir } => new(unit_dir, console),
        SheetVerb::Parts { file } => parts_sheet::new(file, console),
        SheetVerb::Compare { one, two } => parts_sheet::compare(one, two, console),
    }
}

fn new(unit_dir: &Path, console: &Console) -> VerbResult {
    let path = unit_dir.join(SHEET_FILE);
    let shown = path.display().to_string();
    let refused = |error: std::io::Error| {
        if error.kind() == ErrorKind::AlreadyExists {
            return Failure::usage(format!(
                "{shown}: a sheet is there already and stays as it is. Fill that one in, or move it away."
            ));
        }
        if error.kind() == ErrorKind::NotFound {
            return Failure::usage(format!(
                "{}: no such folder. Give a unit's folder, such as units/NAME.",
                unit_dir.display()
            ));
        }
        Failure::undetermined(format!(
            "{shown}: {error}. Check free space and write permission, then run again."
        ))
    };
    let mut file = File::create_new(&path).map_err(refused)?;
    file.write_all(template().as_bytes()).map_err(refused)?;
    let document = SheetDocument { file: shown.clone(), items: ITEMS.map(|item| item.key).to_vec() };
    let text = format!("{shown}: {} items to fill in; `vanebench report` prints them", ITEMS.len());
    console.result(&text, &document)?;
    Ok(Exit::Done)
}
