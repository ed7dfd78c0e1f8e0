//! How a verb ends: one set of exit codes for every verb.

use std::fmt::Display;
use std::process::ExitCode;

use schemars::JsonSchema;
use serde::Serialize;

/// The end of a verb that ran. Ordered so that the larger of two ends is the one to report, except that
/// undetermined outweighs out of limits: see [`Exit::worse`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Exit {
    /// Within limits, or done: code 0.
    Done,
    /// Out of limits, for a reason in the unit: code 1.
    OutOfLimits,
    /// The command line or a file is wrong; nothing was run: code 2.
    Usage,
    /// Nothing can be said: link lost, supply out of range, disk full, run incomplete: code 3.
    Undetermined,
    /// Stopped by the user: code 130.
    Interrupted,
}

impl Exit {
    /// The code that the shell sees.
    #[must_use]
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::OutOfLimits => 1,
            Self::Usage => 2,
            Self::Undetermined => 3,
            Self::Interrupted => 130,
        }
    }

    /// The end of a job made of two parts: 130 over 2 over 3 over 1 over 0.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        if self.weight() >= other.weight() { self } else { other }
    }

    fn weight(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::OutOfLimits => 1,
            Self::Undetermined => 2,
            Self::Usage => 3,
            Self::Interrupted => 4,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

/// A verb that could not do its work, in words that say what to try next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Failure {
    /// How the program ends.
    pub exit: Exit,
    /// What was seen, what is allowed, what to try.
    pub message: String,
}

impl Failure {
    /// A wrong command line or file.
    pub fn usage(message: impl Display) -> Self {
        Self { exit: Exit::Usage, message: message.to_string() }
    }

    /// Something outside the unit kept the work from being done.
    pub fn undetermined(message: impl Display) -> Self {
        Self { exit: Exit::Undetermined, message: message.to_string() }
    }

    /// Stopped by the user.
    pub fn interrupted(message: impl Display) -> Self {
        Self { exit: Exit::Interrupted, message: message.to_string() }
    }
}

impl Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Failure {}

/// What every verb returns.
pub type VerbResult = Result<Exit, Failure>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn undetermined_outweighs_not_fit_and_an_interrupt_outweighs_all() {
        assert_eq!(Exit::OutOfLimits.worse(Exit::Undetermined), Exit::Undetermined);
        assert_eq!(Exit::Undetermined.worse(Exit::OutOfLimits), Exit::Undetermined);
        assert_eq!(Exit::Done.worse(Exit::OutOfLimits), Exit::OutOfLimits);
        assert_eq!(Exit::Interrupted.worse(Exit::Usage).code(), 130);
    }
}
