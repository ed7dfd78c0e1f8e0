//! The `vanebench` command line: parse, run one verb, say how it ended.

use std::process::ExitCode;

use clap::Parser;
use vanebench::cli::Cli;
use vanebench::console::Console;

fn main() -> ExitCode {
    let cli = Cli::parse();
    let console = Console::new(cli.style());
    match cli.run(&console) {
        Ok(exit) => exit.into(),
        Err(failure) => {
            console.failure(&failure);
            failure.exit.into()
        }
    }
}
