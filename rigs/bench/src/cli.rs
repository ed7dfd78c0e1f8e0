//! The verbs and what each takes.

use clap::error::{ContextKind, ContextValue};
use clap::{CommandFactory, Parser, Subcommand};
use plant::shown::brief;

use crate::caution::{Effect, HANDED_OVER};
use crate::console::{Console, ShownProgress, Style};
use crate::exit::{Exit, VerbResult};
use crate::procedure::MoveKind;
use crate::{interrupt, verbs};

/// Version and commit.
const VERSION: &str = concat!(env!("CARGO_PKG_VERSION"), " (", env!("VANEBENCH_COMMIT"), ")");

/// Columns that help takes at most, as all other text does.
const WIDEST_HELP: usize = 80;

/// Bench, simulate, validate and match VGT vane actuators and their controllers.
///
/// Exit codes: 0 within limits or done; 1 out of limits; 2 wrong command line or file; 3 undetermined (link lost, supply
/// out of range, not proven, run incomplete, disk or standard output refuses); 130 interrupted. A reader of
/// the output that leaves early (`| head`) changes none of them.
#[derive(Debug, Parser)]
#[command(name = "vanebench", version = VERSION, propagate_version = true, max_term_width = WIDEST_HELP)]
pub struct Cli {
    /// Print one JSON document on standard output instead of text
    #[arg(long, global = true)]
    json: bool,
    /// Show no progress; cautions, questions, the screen of a moving unit and results stay
    #[arg(long, global = true)]
    quiet: bool,
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Do the whole job on the built-in virtual rig: learn, sweep, friction, step, simulate, judge, report
    Demo(verbs::demo::Args),
    /// List the serial ports and the built-in virtual units
    Ports(verbs::ports::Args),
    /// Watch what a unit reads before anything may move; never drives
    Monitor(verbs::monitor::Args),
    /// Do the whole job on a unit: learn, friction, sweep, step, judge, report
    Bench(verbs::bench::Args),
    /// Serve a virtual unit on a serial device, for practice
    #[cfg(unix)]
    Rig(verbs::rig::Args),
    /// Find a unit's two end stops, or say why not
    Learn(verbs::learn::Args),
    /// Record a closed-loop staircase, up and down, and slow reversals
    Sweep(verbs::moves::Args),
    /// Record slow open-loop ramps, which show friction
    Friction(verbs::moves::Args),
    /// Record steps of several sizes and full strokes, both directions
    Step(verbs::moves::Args),
    /// Endurance: thousands of strokes, a summary of each, until done or a limit is passed
    Cycle(verbs::cycle::Args),
    /// Propose position-loop gains from recorded steps, or boost gains from simulated engines
    Tune(verbs::tune::Args),
    /// Match the parts of a new turbo to the calibration of the old one
    Match(verbs::match_parts::Args),
    /// Judge a unit's record against its limits
    Judge(verbs::judge::JudgeArgs),
    /// Judge, and lay the record out as a printable report
    Report(verbs::judge::ReportArgs),
    /// Run a scenario under one or several controllers and compare
    Simulate(verbs::simulate::Args),
    /// Run a scenario over thousands of units that differ as units do
    Campaign(verbs::campaign::Args),
    /// Units on record: list, history, check, compare, attach, confirm, explain
    Unit(verbs::unit::Args),
    /// Write an empty parts or acceptance sheet, or compare two parts sheets
    Sheet(verbs::sheet::Args),
    /// Actuator profiles: check one, characterise a unit, draw limits from good units
    Profile(verbs::profile::Args),
    /// Describe the documents of --json as JSON Schema
    Schema(verbs::schema::Args),
    /// Print the completion script for a shell
    Completions(verbs::manual::CompletionsArgs),
    /// Print the manual page of the tool or of a verb, for `man -l -`
    Manual(verbs::manual::ManualArgs),
}

impl Cli {
    /// Reads the command line.
    ///
    /// # Errors
    /// How to end at once: after the help that was asked for, or after words about what is wrong.
    pub fn read(console: &Console) -> Result<Self, Exit> {
        Self::try_parse().map_err(|error| {
            if !error.use_stderr() {
                return match console.help(&error.render()) {
                    Err(refused) => {
                        console.note(&format!("vanebench: standard output: {refused}"));
                        Exit::Undetermined
                    }
                    Ok(()) => Exit::Done,
                };
            }
            Console::new(Style::asked_for()).usage(&brief_words(&error))
        })
    }

    /// How results are to be printed.
    #[must_use]
    pub fn style(&self) -> Style {
        if self.json { Style::Json } else { Style::Plain }
    }

    /// Whether progress is shown.
    #[must_use]
    pub fn progress(&self) -> ShownProgress {
        if self.quiet { ShownProgress::Hidden } else { ShownProgress::Shown }
    }

    /// What the verb can do to the world outside.
    #[must_use]
    pub fn effect(&self) -> Effect {
        match &self.verb {
            Verb::Demo(_)
            | Verb::Bench(_)
            | Verb::Sweep(_)
            | Verb::Friction(_)
            | Verb::Step(_)
            | Verb::Cycle(_) => Effect::Moves,
            Verb::Learn(args) => args.effect(),
            #[cfg(unix)]
            Verb::Rig(_) => Effect::HandsOver,
            Verb::Tune(_) | Verb::Match(_) => Effect::HandsOver,
            Verb::Unit(args) => args.effect(),
            Verb::Sheet(args) => args.effect(),
            Verb::Profile(args) => args.effect(),
            Verb::Campaign(args) => args.effect(),
            Verb::Ports(_)
            | Verb::Monitor(_)
            | Verb::Judge(_)
            | Verb::Report(_)
            | Verb::Simulate(_)
            | Verb::Schema(_)
            | Verb::Completions(_)
            | Verb::Manual(_) => Effect::Neither,
        }
    }

    /// Runs the verb.
    ///
    /// # Errors
    /// A [`crate::exit::Failure`] says what kept the verb from its work and what to try.
    pub fn run(&self, console: &Console) -> VerbResult {
        interrupt::listen();
        match self.effect() {
            // The cautions come with the question that they belong to.
            Effect::Moves | Effect::Neither => {}
            Effect::HandsOver => console.note(HANDED_OVER),
        }
        match &self.verb {
            Verb::Demo(args) => verbs::demo::run(args, console),
            Verb::Ports(args) => verbs::ports::run(args, console),
            Verb::Monitor(args) => verbs::monitor::run(args, console),
            Verb::Bench(args) => verbs::bench::run(args, console),
            #[cfg(unix)]
            Verb::Rig(args) => verbs::rig::run(args, console),
            Verb::Learn(args) => verbs::learn::run(args, console),
            Verb::Sweep(args) => verbs::moves::run(args, MoveKind::Sweep, console),
            Verb::Friction(args) => verbs::moves::run(args, MoveKind::Friction, console),
            Verb::Step(args) => verbs::moves::run(args, MoveKind::Step, console),
            Verb::Cycle(args) => verbs::cycle::run(args, console),
            Verb::Tune(args) => verbs::tune::run(args, console),
            Verb::Match(args) => verbs::match_parts::run(args, console),
            Verb::Judge(args) => verbs::judge::run(args, console),
            Verb::Report(args) => verbs::judge::run_report(args, console),
            Verb::Simulate(args) => verbs::simulate::run(args, console),
            Verb::Campaign(args) => verbs::campaign::run(args, console),
            Verb::Unit(args) => verbs::unit::run(args, console),
            Verb::Sheet(args) => verbs::sheet::run(args, console),
            Verb::Profile(args) => verbs::profile::run(args, console),
            Verb::Schema(args) => verbs::schema::run(args, console),
            Verb::Completions(args) => verbs::manual::run_completions(args, Self::command(), console),
            Verb::Manual(args) => verbs::manual::run_manual(args, Self::command(), console),
        }
    }
}

/// The parser's words, with what they repeat of the command line cut short.
fn brief_words(error: &clap::Error) -> String {
    const REPEATED: [ContextKind; 3] =
        [ContextKind::InvalidValue, ContextKind::InvalidArg, ContextKind::InvalidSubcommand];
    let words = error.to_string();
    let repeated = REPEATED.into_iter().filter_map(|kind| error.get(kind));
    repeated.fold(words, |words, value| {
        let ContextValue::String(value) = value else { return words };
        if brief(value) == *value { words } else { words.replace(value, &brief(value)) }
    })
}
