//! What people and machines see: plain text or JSON on standard output, progress and cautions on
//! standard error, so that output can be piped.

use std::io::{ErrorKind, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::builder::StyledStr;
use plant::shown::printable;

use crate::document_kind::{Document, ErrorDocument, text as document_text};
use crate::exit::{Exit, Failure};
use crate::fold::Fold;

/// Plain text for people, or one JSON document for machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Text.
    Plain,
    /// JSON.
    Json,
}

impl Style {
    /// The style of a command line that could not be read: JSON where the option stands on it.
    #[must_use]
    pub fn asked_for() -> Self {
        let mut options = std::env::args_os().skip(1).take_while(|word| word != "--");
        if options.any(|word| word == "--json") { Self::Json } else { Self::Plain }
    }
}

/// Whether progress is shown at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShownProgress {
    /// Where somebody watches.
    Shown,
    /// Nowhere.
    Hidden,
}

/// Where a verb writes: one document for each run of the program.
#[derive(Debug)]
pub struct Console {
    style: Style,
    progress: ShownProgress,
    is_told: AtomicBool,
}

impl Console {
    /// A console in the given style.
    #[must_use]
    pub fn new(style: Style) -> Self {
        Self { style, progress: ShownProgress::Shown, is_told: AtomicBool::new(false) }
    }

    /// The same console, with progress or without.
    #[must_use]
    pub fn with(self, progress: ShownProgress) -> Self {
        Self { progress, ..self }
    }

    /// For whom it writes.
    #[must_use]
    pub(crate) fn style(&self) -> Style {
        self.style
    }

    /// Writes a result: `text` for people, `document` for machines. A reader that has left (`| head`) is no
    /// error: the verb ends with its own code.
    ///
    /// # Errors
    /// When standard output takes nothing more.
    pub(crate) fn result(&self, text: &str, document: &impl Document) -> Result<(), Failure> {
        self.as_it_is(&for_reader(text.trim_end(), &std::io::stdout()), document)
    }

    /// The same for a text that a program takes: it is not folded.
    ///
    /// # Errors
    /// As [`Console::result`].
    pub(crate) fn as_it_is(&self, text: &str, document: &impl Document) -> Result<(), Failure> {
        self.is_told.store(true, Ordering::Relaxed);
        match self.style {
            Style::Plain => out(&printable(text.trim_end())),
            Style::Json => out(&printable_json(&document_text(document)?)),
        }
        .map_err(|error| {
            Failure::undetermined(format!(
                "standard output: {error}. The result was not printed in full; records and files are \
                 complete. Free space or send the output elsewhere, then run again."
            ))
        })
    }

    /// Writes help, which the parser leaves unfolded in part.
    ///
    /// # Errors
    /// When standard output takes nothing more.
    pub(crate) fn help(&self, help: &StyledStr) -> std::io::Result<()> {
        let is_styled = std::io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none();
        let text = if is_styled { help.ansi().to_string() } else { help.to_string() };
        out(&Fold::of_the_reader().paragraph(text.trim_end()))
    }

    /// Writes a line for people on standard error; machines never see it.
    pub fn note(&self, text: &str) {
        say(text);
    }

    /// Writes what is wrong with the command line, in the parser's own words.
    pub fn usage(&self, words: &str) -> Exit {
        self.error_document(words, Exit::Usage);
        self.note(words);
        Exit::Usage
    }

    /// Writes how a verb failed.
    pub fn failure(&self, failure: &Failure) {
        self.error_document(&failure.message, failure.exit);
        self.note(&format!("vanebench: {}", failure.message));
    }

    fn error_document(&self, message: &str, exit: Exit) {
        if self.style == Style::Json && !self.is_told.load(Ordering::Relaxed) {
            // Where standard output is what failed, the line below still tells.
            let _untold = self.result("", &ErrorDocument::of(message.trim_end(), exit));
        }
    }

    /// Whether progress is told: never to a machine.
    #[must_use]
    pub(crate) fn progress(&self) -> ShownProgress {
        match self.style {
            Style::Plain => self.progress,
            Style::Json => ShownProgress::Hidden,
        }
    }
}

fn out(text: &str) -> std::io::Result<()> {
    let mut stdout = std::io::stdout().lock();
    match writeln!(stdout, "{text}").and_then(|()| stdout.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        written => written,
    }
}

/// Writes a line for people on standard error, from wherever there is no [`Console`] at hand.
pub fn say(text: &str) {
    let text = for_reader(text, &std::io::stderr());
    // A closed standard error is no reason to stop a rig that is moving.
    let _closed = writeln!(std::io::stderr(), "{}", printable(&text));
}

fn for_reader(text: &str, stream: &impl IsTerminal) -> String {
    Fold::where_stated(stream).map_or_else(|| text.to_owned(), |fold| fold.paragraph(text))
}

/// Control characters that JSON may hold as they are, as codes that it reads back.
fn printable_json(json: &str) -> String {
    json.chars().fold(String::with_capacity(json.len()), |mut text, c| {
        if c.is_control() && c != '\n' {
            text.push_str(&format!("\\u{:04x}", u32::from(c)));
        } else {
            text.push(c);
        }
        text
    })
}
