//! The cautions, shown before anything moves and printed in every report.

use std::fmt;
use std::io::{BufRead, IsTerminal, Write};
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

use crate::exit::Failure;
use crate::short_text::ShortText;
use crate::{console, interrupt, terminal};

/// The cautions, one line each. Kinds of hazard from ISO 12100 (general) and the trade's usual practice.
pub const CAUTIONS: [&str; 6] = [
    "MOVING LEVER: pinch and shear point. The lever, rod and vanes move without warning and with enough force to injure. Keep hands and tools clear; clamp the unit.",
    "HOT PARTS: housing, motor and vane ring can burn. Let them cool or wear gloves.",
    "EMERGENCY STOP: have a switch within reach that cuts the motor supply. Cutting the link only releases the drive.",
    "WITHOUT POWER the lever goes where its spring or its own weight takes it.",
    "OVER-BOOST AND OVER-SPEED can destroy an engine and throw parts. A bench verdict is no road or engine release: confirm boost on the engine, by a licensed technician.",
    "FOLLOW local codes, emission law and the engine maker's instructions. Altering emission-related parts may be unlawful where you are.",
];

/// What stands on the screen and at the head of every file that hands over settings, limits or a calibration.
pub const HANDED_OVER: &str = "CAUTION: not proven on an engine. Check minimum flow on a gauge, then boost, before release; \
     follow local codes, emission law and the engine maker's instructions.";

/// Until when a calibration holds; said wherever one is shown.
pub(crate) const HOLDS_UNTIL: &str =
    "Holds until a stop screw, the lever or the rod is turned or loosened; after that, learn again.";

/// What a person did about the cautions before the unit moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Acknowledged {
    /// `--hands-clear` on the command line.
    ByOption,
    /// "yes" typed at the prompt.
    AtPrompt,
    /// A virtual rig: nothing real moves, the cautions were shown.
    VirtualRig,
}

/// How the person beside the unit is known to be there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Present {
    /// Typed yes at the question that says what is unproven.
    TypedYes,
    /// Named on the command line, with hands clear.
    Operator(ShortText),
}

impl fmt::Display for Present {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TypedYes => f.write_str("a person who typed yes"),
            Self::Operator(name) => write!(f, "{name}"),
        }
    }
}

/// What a verb can do to the world outside; every verb declares it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// It moves a unit: the cautions are on the screen before.
    Moves,
    /// It hands over settings, limits or a calibration: the caution is on the screen and in each file.
    HandsOver,
    /// Neither.
    Neither,
}

/// Whether a real lever will move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeverMotion {
    /// A unit on a bench.
    Real,
    /// A simulated unit.
    Simulated,
}

/// The option that stands for "my hands are clear". It stands for planned starts only: after anything that
/// stopped a unit, see [`confirm_again`].
#[derive(Debug, Clone, Copy, clap::Args)]
pub(crate) struct HandsClear {
    /// I have read the cautions; hands and tools are clear of the lever
    #[arg(long)]
    hands_clear: bool,
}

/// Time to read the cautions before an answer counts, where a unit is to move again after a stop.
const PAUSE: Duration = Duration::from_secs(2);
/// What is asked before a planned start.
const HANDS_CLEAR: &str = "Hands and tools clear of the lever?";
/// Between two looks at Ctrl-C while a question is open.
const LOOK: Duration = Duration::from_millis(50);

/// What a job has shown of the cautions: all of them first, then what may hurt at any start.
#[derive(Debug, Default)]
pub(crate) struct JobCautions {
    shown: CautionShown,
}

#[derive(Debug, Default)]
enum CautionShown {
    #[default]
    Nothing,
    Whole,
}

impl JobCautions {
    /// The cautions of the next start.
    fn next(&mut self) -> &'static [&'static str] {
        /// Pinch, heat and emergency stop stand first.
        const KEPT: usize = 3;
        match std::mem::replace(&mut self.shown, CautionShown::Whole) {
            CautionShown::Nothing => &CAUTIONS,
            CautionShown::Whole => &CAUTIONS[..KEPT],
        }
    }
}

/// Shows all cautions on standard error.
pub(crate) fn show() {
    say_each(&CAUTIONS);
}

fn say_each(cautions: &[&str]) {
    cautions.iter().for_each(|line| console::say(&format!("CAUTION  {line}")));
}

impl HandsClear {
    /// Shows the cautions, then waits for the acknowledgement that `motion` calls for.
    ///
    /// # Errors
    /// Without `--hands-clear`, without a terminal to ask at, with any answer but "yes", or on Ctrl-C: nothing
    /// moves.
    pub(crate) fn confirm(self, motion: LeverMotion) -> Result<Acknowledged, Failure> {
        self.confirm_in(&mut JobCautions::default(), motion)
    }

    /// `--hands-clear` stands for several starts only together with a name.
    ///
    /// # Errors
    /// When the name is missing.
    pub(crate) fn needs_a_name(self, operator: Option<&ShortText>) -> Result<(), Failure> {
        if self.hands_clear && operator.is_none() {
            return Err(Failure::usage(
                "nothing moved: --hands-clear answers yes to every planned start only together with \
                 --operator NAME.",
            ));
        }
        Ok(())
    }

    /// As [`HandsClear::confirm`], for one of the starts of a job.
    ///
    /// # Errors
    /// As [`HandsClear::confirm`].
    pub(crate) fn confirm_in(
        self,
        job: &mut JobCautions,
        motion: LeverMotion,
    ) -> Result<Acknowledged, Failure> {
        say_each(job.next());
        match (motion, self.hands_clear) {
            (LeverMotion::Simulated, _) => {
                console::say("(virtual rig: nothing real moves)\n");
                Ok(Acknowledged::VirtualRig)
            }
            (LeverMotion::Real, true) => Ok(Acknowledged::ByOption),
            (LeverMotion::Real, false) => ask(
                HANDS_CLEAR,
                "nothing moved: the cautions were not acknowledged. Clear the lever and add --hands-clear.",
            )
            .map(|()| Acknowledged::AtPrompt),
        }
    }

    /// As [`HandsClear::confirm`], before a motion on what is unproven: a person must be there, on a virtual rig too.
    ///
    /// # Errors
    /// Without a typed yes and without `--hands-clear` and an operator's name: nothing moves.
    pub(crate) fn confirm_unproven(
        self,
        motion: LeverMotion,
        unproven: &str,
        operator: Option<&ShortText>,
    ) -> Result<(Acknowledged, Present), Failure> {
        show();
        console::say(&format!(
            "CAUTION  UNPROVEN CALIBRATION: the lever may meet a stop where none is expected. It moves at \
             half the current and half the speed. Stay at the emergency stop.\n\n{unproven}"
        ));
        let (acknowledged, present) = self.beside("--on-unproven", operator)?;
        Ok(match motion {
            LeverMotion::Real => (acknowledged, present),
            LeverMotion::Simulated => (Acknowledged::VirtualRig, present),
        })
    }

    /// As [`HandsClear::confirm`], before a unit is driven of which nothing is known: a person must be beside a real one.
    ///
    /// # Errors
    /// As [`HandsClear::confirm_unproven`].
    pub(crate) fn confirm_unknown(
        self,
        motion: LeverMotion,
        supply_limit_a: f64,
        operator: Option<&ShortText>,
    ) -> Result<Option<Present>, Failure> {
        match motion {
            LeverMotion::Simulated => self.confirm(motion).map(|_| None),
            LeverMotion::Real => {
                show();
                console::say(&format!(
                    "CAUTION  UNKNOWN UNIT: the lever may run either way, to either end. These steps were tried on \
                     simulated units and never on a real one: take the unit off the engine, set the supply's own \
                     current limit to {supply_limit_a:.1} A, and stay at the emergency stop.\n"
                ));
                self.beside("a unit that is not known", operator).map(|(_, present)| Some(present))
            }
        }
    }

    /// Makes sure of a person beside the unit; `what` is what needs one.
    fn beside(self, what: &str, operator: Option<&ShortText>) -> Result<(Acknowledged, Present), Failure> {
        let without = format!(
            "nothing moved: {what} needs a person beside the unit. Type yes at a terminal, or give --hands-clear \
             together with --operator NAME."
        );
        match (self.hands_clear, operator) {
            (true, Some(operator)) => Ok((Acknowledged::ByOption, Present::Operator(operator.clone()))),
            (true, None) => Err(Failure::usage(without)),
            (false, _) => {
                ask("Are hands clear, and will you stay beside the unit?", &without)?;
                Ok((Acknowledged::AtPrompt, Present::TypedYes))
            }
        }
    }
}

/// Asks before a unit moves again after `stopped`: cautions, a pause, a typed yes, whatever was acknowledged
/// before. The caller has let go of the drive. A virtual unit goes on unasked.
///
/// # Errors
/// As [`HandsClear::confirm`].
pub(crate) fn confirm_again(motion: LeverMotion, stopped: &str) -> Result<Acknowledged, Failure> {
    match motion {
        LeverMotion::Simulated => Ok(Acknowledged::VirtualRig),
        LeverMotion::Real => {
            console::say(&format!("\nThe unit was stopped: {stopped}\nIt will move again."));
            show();
            pause()?;
            ask(
                HANDS_CLEAR,
                "nothing moved: the cautions were not acknowledged. Clear the lever and start again at a terminal.",
            )
            .map(|()| Acknowledged::AtPrompt)
        }
    }
}

/// Asks whether a person who looked at the unit with its drive off stands clear of it again.
///
/// # Errors
/// As [`HandsClear::confirm`].
pub(crate) fn clear_again() -> Result<(), Failure> {
    ask(HANDS_CLEAR, "stopped, drive off: nobody said that the lever is clear again.")
}

fn pause() -> Result<(), Failure> {
    let _watch = interrupt::watch();
    let shown_at = Instant::now();
    while shown_at.elapsed() < PAUSE {
        check_interrupt()?;
        std::thread::sleep(LOOK);
    }
    Ok(())
}

/// Waits for a typed yes; `without_terminal` is what to say where nobody can be asked.
fn ask(question: &str, without_terminal: &str) -> Result<(), Failure> {
    let stdin = std::io::stdin();
    if !stdin.is_terminal() {
        return Err(Failure::usage(without_terminal));
    }
    match answer(&format!("{question} Type yes to start: "))? {
        Some(word) if word.eq_ignore_ascii_case("yes") => Ok(()),
        Some(_) | None => Err(Failure::usage("drive off: the answer was not yes.")),
    }
}

/// A line typed at the terminal after the question; nothing for an empty one.
///
/// # Errors
/// On Ctrl-C.
pub(crate) fn answer(question: &str) -> Result<Option<String>, Failure> {
    let stdin = std::io::stdin();
    let _watch = interrupt::watch();
    // What was typed before the question is no answer to it.
    terminal::forget_typed();
    let _closed = write!(std::io::stderr(), "{question}");
    while !terminal::has_line(LOOK) {
        check_interrupt()?;
    }
    let mut line = String::new();
    // A terminal that cannot be read answers nothing.
    let read = stdin.lock().read_line(&mut line);
    let line = line.trim();
    Ok((read.is_ok() && !line.is_empty()).then(|| line.to_owned()))
}

fn check_interrupt() -> Result<(), Failure> {
    if interrupt::asked() { Err(Failure::interrupted("nothing moved: stopped by the user")) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_shows_all_cautions_first_and_keeps_pinch_heat_and_emergency_stop() {
        let mut job = JobCautions::default();
        assert_eq!(job.next(), CAUTIONS);
        for _ in 0..3 {
            let kept: Vec<&str> = job.next().iter().filter_map(|line| line.split(':').next()).collect();
            assert_eq!(kept, ["MOVING LEVER", "HOT PARTS", "EMERGENCY STOP"]);
        }
        assert_eq!(JobCautions::default().next(), CAUTIONS);
    }
}
