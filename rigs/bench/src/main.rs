//! The `vanebench` command line: parse, run one verb, say how it ended.

use std::process::ExitCode;

use vanebench::cli::Cli;
use vanebench::console::{Console, Style};

fn main() -> ExitCode {
    let console = Console::new(Style::Plain);
    let cli = match Cli::read(&console) {
        Ok(cli) => cli,
        Err(exit) => return exit.into(),
    };
    let console = Console::new(cli.style()).with(cli.progress());
    match cli.run(&console) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            console.failure(&failure);
            failure.exit.into()
        }
    }
}
