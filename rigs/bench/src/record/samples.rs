//! Rows of `samples.csv`: a sample, or a mark between samples (a touch of a stop, a counted gap).
//!
//! Text in both directions is lossless: numbers are written so that reading gives the same bits.

use std::fmt;

use firmware_core::command::Command;
use firmware_core::learn::Stop;
use firmware_core::units::{Ampere, Counts, Duty, Opening, Tick, Volt};

use super::StrokeSummary;

/// Columns with their units.
pub(crate) const SAMPLE_HEADER: [&str; 10] = [
    "tick [ms]",
    "position [counts]",
    "opening [1]",
    "commanded [quantity]",
    "command [1 or A]",
    "duty [1]",
    "motor_current [A]",
    "supply [V]",
    "state [words]",
    "mark [text]",
];

/// One sample as the bench knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordedSample {
    /// The board's tick.
    pub tick: Tick,
    /// Raw position.
    pub position: Counts,
    /// Opening by the calibration in use; none before one is learned. May lie outside 0 … 1 at a stop.
    pub opening: Option<f32>,
    /// What the drive was told.
    pub command: Command,
    /// What the drive did.
    pub duty: f32,
    /// Motor current, where it was a number; positive drives toward open.
    pub motor_current: Option<Ampere>,
    /// Lowest supply around this tick, where it was measured.
    pub supply: Option<Volt>,
    /// The controller's state: who drives, and guard, faults and limits where there are any.
    pub state: String,
}

/// Something that happened between two samples.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// Samples were lost on the line.
    Gap {
        /// How many.
        lost: u32,
    },
    /// A stop was touched and read under two pushes.
    Touch {
        /// Which stop.
        stop: Stop,
        /// Settled reading under the larger push, counts.
        pressed: f32,
        /// Settled reading under the smaller push, counts.
        released: f32,
        /// Extrapolated to no push, counts.
        zero_push: f32,
    },
    /// Events of a learn were lost on the line: touches or phases that the record does not show.
    LostEvents {
        /// How many.
        count: u32,
    },
    /// A stroke of an endurance has ended.
    Stroke(StrokeSummary),
    /// Anything else, in words.
    Note(String),
}

/// One row of the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Row {
    /// A sample.
    Sample(RecordedSample),
    /// A mark at a tick.
    Mark(Tick, Mark),
}

impl fmt::Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gap { lost } => write!(f, "gap {lost}"),
            Self::LostEvents { count } => write!(f, "lost-events {count}"),
            Self::Touch { stop, pressed, released, zero_push } => {
                write!(f, "touch {stop} pressed {pressed} released {released} zero-push {zero_push}")
            }
            Self::Stroke(stroke) => write!(f, "{stroke}"),
            // One row is one line.
            Self::Note(text) => write!(f, "note {}", text.replace(['\r', '\n'], " ")),
        }
    }
}

impl Mark {
    /// Reads what [`fmt::Display`] wrote; `None` for anything else.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (word, rest) = text.split_once(' ')?;
        match word {
            "gap" => rest.parse().ok().map(|lost| Self::Gap { lost }),
            "lost-events" => rest.parse().ok().map(|count| Self::LostEvents { count }),
            "note" => Some(Self::Note(rest.to_owned())),
            "touch" => Self::parse_touch(rest),
            "stroke" => StrokeSummary::parse(rest).map(Self::Stroke),
            _ => None,
        }
    }
}

impl Mark {
    fn parse_touch(text: &str) -> Option<Self> {
        let words: Vec<_> = text.split(' ').collect();
        let [stop, "pressed", pressed, "released", released, "zero-push", zero_push] = words[..] else {
            return None;
        };
        let stop = match stop {
            "closed" => Stop::Closed,
            "open" => Stop::Open,
            _ => return None,
        };
        let number = |text: &str| text.parse().ok().filter(|value: &f32| value.is_finite());
        Some(Self::Touch {
            stop,
            pressed: number(pressed)?,
            released: number(released)?,
            zero_push: number(zero_push)?,
        })
    }
}

/// A column that does not hold what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct BadField {
    pub(super) column: usize,
    pub(super) allowed: &'static str,
}

impl Row {
    /// The note that this row is, with its tick.
    #[must_use]
    pub(crate) fn note(&self) -> Option<(Tick, &str)> {
        match self {
            Self::Mark(tick, Mark::Note(text)) => Some((*tick, text)),
            Self::Mark(
                _,
                Mark::Gap { .. } | Mark::LostEvents { .. } | Mark::Touch { .. } | Mark::Stroke(_),
            )
            | Self::Sample(_) => None,
        }
    }

    pub(super) fn to_fields(&self) -> [String; SAMPLE_HEADER.len()] {
        match self {
            Self::Sample(s) => {
                let (commanded, command) = command_fields(s.command);
                [
                    s.tick.0.to_string(),
                    s.position.0.to_string(),
                    s.opening.map_or_else(String::new, |o| o.to_string()),
                    commanded.to_owned(),
                    command,
                    s.duty.to_string(),
                    s.motor_current.map_or_else(String::new, |a| a.0.to_string()),
                    s.supply.map_or_else(String::new, |v| v.0.to_string()),
                    s.state.clone(),
                    String::new(),
                ]
            }
            Self::Mark(tick, mark) => {
                let mut fields: [String; SAMPLE_HEADER.len()] = Default::default();
                fields[0] = tick.0.to_string();
                fields[SAMPLE_HEADER.len() - 1] = mark.to_string();
                fields
            }
        }
    }

    pub(super) fn from_fields(fields: &csv::StringRecord) -> Result<Self, BadField> {
        let text = |column: usize| fields.get(column).unwrap_or_default();
        let bad = |column, allowed| BadField { column, allowed };
        let number = |column: usize| {
            let value: f32 = text(column).parse().map_err(|_| bad(column, "allowed: a number"))?;
            if value.is_finite() { Ok(value) } else { Err(bad(column, "allowed: a finite number")) }
        };
        let optional =
            |column: usize| if text(column).is_empty() { Ok(None) } else { number(column).map(Some) };
        let tick = Tick(text(0).parse().map_err(|_| bad(0, "allowed: a tick, 0 to 4294967295"))?);
        let mark = text(SAMPLE_HEADER.len() - 1);
        if !mark.is_empty() {
            let mark = Mark::parse(mark);
            return mark.map(|mark| Self::Mark(tick, mark)).ok_or(bad(
                SAMPLE_HEADER.len() - 1,
                "allowed: gap N, lost-events N, touch STOP pressed N released N zero-push N, stroke N and its values, note TEXT",
            ));
        }
        Ok(Self::Sample(RecordedSample {
            tick,
            position: Counts(text(1).parse().map_err(|_| bad(1, "allowed: counts, -32768 to 32767"))?),
            opening: optional(2)?,
            command: command_from(text(3), || number(4))?,
            duty: number(5)?,
            motor_current: optional(6)?.map(Ampere),
            supply: optional(7)?.map(Volt),
            state: text(8).to_owned(),
        }))
    }
}

fn command_fields(command: Command) -> (&'static str, String) {
    match command {
        Command::Release => ("release", String::new()),
        Command::Duty(duty) => ("duty", duty.get().to_string()),
        Command::Current(current) => ("current", current.0.to_string()),
        Command::Opening(opening) => ("opening", opening.get().to_string()),
    }
}

fn command_from(word: &str, value: impl Fn() -> Result<f32, BadField>) -> Result<Command, BadField> {
    let outside = |allowed| BadField { column: 4, allowed };
    match word {
        "release" => Ok(Command::Release),
        "duty" => Duty::try_new(value()?).map(Command::Duty).map_err(|_| outside("allowed: -1 to 1")),
        "current" => value().map(|current| Command::Current(Ampere(current))),
        "opening" => Opening::try_new(value()?).map(Command::Opening).map_err(|_| outside("allowed: 0 to 1")),
        _ => Err(BadField { column: 3, allowed: "allowed: release, duty, current, opening" }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn finite() -> impl Strategy<Value = f32> {
        any::<f32>().prop_filter("finite", |v| v.is_finite())
    }

    fn command() -> impl Strategy<Value = Command> {
        prop_oneof![
            Just(Command::Release),
            (-1.0f32..=1.0).prop_map(|d| Command::Duty(Duty::try_new(d).unwrap())),
            finite().prop_map(|c| Command::Current(Ampere(c))),
            (0.0f32..=1.0).prop_map(|o| Command::Opening(Opening::try_new(o).unwrap())),
        ]
    }

    proptest! {
        #[test]
        fn a_row_reads_back_as_the_same_bits(
            tick in any::<u32>(), position in any::<i16>(), opening in prop::option::of(finite()),
            command in command(), duty in finite(), current in prop::option::of(finite()),
            supply in prop::option::of(finite()), state in "[a-z ,\"]{0,12}",
        ) {
            let row = Row::Sample(RecordedSample {
                tick: Tick(tick), position: Counts(position), opening, command, duty,
                motor_current: current.map(Ampere), supply: supply.map(Volt), state,
            });
            let fields = csv::StringRecord::from(row.to_fields().to_vec());
            prop_assert_eq!(Row::from_fields(&fields).unwrap(), row);
        }

        #[test]
        fn any_text_in_a_row_is_read_or_refused_without_panic(fields in prop::collection::vec(".{0,8}", 0..12)) {
            let _answer = Row::from_fields(&csv::StringRecord::from(fields));
        }
    }

    #[test]
    fn marks_read_back() {
        let marks = [
            Mark::Gap { lost: 32 },
            Mark::LostEvents { count: 2 },
            Mark::Touch { stop: Stop::Open, pressed: 2580.5, released: 2590.25, zero_push: 2600.1 },
            Mark::Note("supply dipped to 10.9 V, once".into()),
        ];
        for mark in marks {
            assert_eq!(Mark::parse(&mark.to_string()), Some(mark));
        }
        assert_eq!(Mark::parse("touch open hard 1 released 2 zero-push 3"), None);
    }
}
