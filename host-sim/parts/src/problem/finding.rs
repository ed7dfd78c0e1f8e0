//! Where on a sheet something is wrong.

use super::Problem;

/// One thing wrong, with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetFinding {
    /// Line of the file, from 1, where it is known.
    pub line: Option<usize>,
    /// `section.key`, or the section.
    pub field: String,
    /// What is wrong.
    pub problem: Problem,
}

/// A sheet that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetError {
    /// The file, as it was named.
    pub file: String,
    /// Everything found wrong, in file order where lines are known.
    pub findings: Vec<SheetFinding>,
}

impl std::fmt::Display for SheetError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (at, finding) in self.findings.iter().enumerate() {
            if at > 0 {
                writeln!(f)?;
            }
            write!(f, "{}", self.file)?;
            if let Some(line) = finding.line {
                write!(f, ":{line}")?;
            }
            write!(f, ": {}: {}", finding.field, finding.problem)?;
        }
        Ok(())
    }
}

impl std::error::Error for SheetError {}
