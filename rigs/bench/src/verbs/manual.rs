//! `completions` and `manual`: the tool described for a shell and for `man`.

use clap_complete::Shell;

use crate::console::Console;
use crate::document::ShellTextDocument;
use crate::exit::{Exit, Failure, VerbResult};

/// What `completions` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// What `manual` takes.
#[derive(Debug, clap::Args)]
pub(crate) struct ManualArgs {
    /// A verb, such as learn; without it, the page of the whole tool
    #[arg(value_name = "VERB")]
    verb: Option<String>,
}

/// Prints what a shell needs to complete the tool's words.
///
/// # Errors
/// When standard output takes nothing more.
pub(crate) fn run_completions(
    args: &CompletionsArgs,
    mut tool: clap::Command,
    console: &Console,
) -> VerbResult {
    let (name, mut script) = (tool.get_name().to_owned(), Vec::new());
    clap_complete::generate(args.shell, &mut tool, name, &mut script);
    tell(&script, console)
}

/// Prints a manual page, for `man -l -`.
///
/// # Errors
/// When there is no such verb.
pub(crate) fn run_manual(args: &ManualArgs, tool: clap::Command, console: &Console) -> VerbResult {
    let page = match &args.verb {
        None => tool,
        Some(verb) => of_verb(&tool, verb)?,
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(page).render(&mut text).map_err(Failure::undetermined)?;
    tell(&text, console)
}

fn of_verb(tool: &clap::Command, verb: &str) -> Result<clap::Command, Failure> {
    let found = tool.find_subcommand(verb).cloned().ok_or_else(|| {
        let verbs: Vec<_> = tool.get_subcommands().map(clap::Command::get_name).collect();
        Failure::usage(format!("{verb:?}: no such verb. Allowed: {}", verbs.join(", ")))
    })?;
    Ok(found.display_name(format!("{} {verb}", tool.get_name())))
}

fn tell(text: &[u8], console: &Console) -> VerbResult {
    let text = String::from_utf8_lossy(text);
    console.as_it_is(&text, &ShellTextDocument { text: &text })?;
    Ok(Exit::Done)
}
