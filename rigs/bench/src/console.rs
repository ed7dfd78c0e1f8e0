//! What people and machines see: plain text or JSON on standard output, progress and cautions on
//! standard error, so that output can be piped.

use std::io::{IsTerminal, Write};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use crate::exit::Failure;

/// Plain text for people, or one JSON document for machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Text.
    Plain,
    /// JSON.
    Json,
}

/// Where a verb writes.
#[derive(Debug, Clone, Copy)]
pub struct Console {
    style: Style,
}

impl Console {
    /// A console in the given style.
    #[must_use]
    pub fn new(style: Style) -> Self {
        Self { style }
    }

    /// Writes a result: `text` for people, `value` for machines.
    pub fn result(&self, text: &str, value: &impl Serialize) {
        match self.style {
            Style::Plain => self.out(text),
            Style::Json => match serde_json::to_string_pretty(value) {
                Ok(json) => self.out(&json),
                Err(error) => self.note(&format!("the result could not be written as JSON: {error}")),
            },
        }
    }

    /// Writes a line for people on standard error; machines never see it.
    pub fn note(&self, text: &str) {
        say(text);
    }

    /// Writes how a verb failed.
    pub fn failure(&self, failure: &Failure) {
        if self.style == Style::Json {
            self.result("", &serde_json::json!({ "error": failure.message, "exit": failure.exit.code() }));
        }
        self.note(&format!("vanebench: {}", failure.message));
    }

    /// A progress bar on standard error; silent when nobody watches.
    #[must_use]
    pub fn progress(&self, what: &str, steps: u64) -> ProgressBar {
        let bar = ProgressBar::with_draw_target(Some(steps), self.draw_target());
        if let Ok(style) = ProgressStyle::with_template("{msg:<28} {bar:32} {percent:>3} %  {elapsed}") {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        bar
    }

    fn draw_target(&self) -> ProgressDrawTarget {
        if self.style == Style::Plain && std::io::stderr().is_terminal() {
            ProgressDrawTarget::stderr_with_hz(10)
        } else {
            ProgressDrawTarget::hidden()
        }
    }

    fn out(&self, text: &str) {
        // `| head` closes the pipe early: not an error of the verb.
        let mut stdout = std::io::stdout().lock();
        let _closed = writeln!(stdout, "{}", text.trim_end()).and_then(|()| stdout.flush());
    }
}

/// Writes a line for people on standard error, from wherever there is no [`Console`] at hand.
pub fn say(text: &str) {
    // A closed standard error is no reason to stop a rig that is moving.
    let _closed = writeln!(std::io::stderr(), "{text}");
}

/// A time span as people say it.
#[must_use]
pub fn spoken(span: Duration) -> String {
    format!("{:.1} s", span.as_secs_f64())
}
