//! Strokes of an endurance as the record keeps them: a summary each, and how far the endurance is.
//!
//! In: a cycle run, or a unit's folder. Out: summaries in order, the count over all runs of one endurance, what has
//! changed since its first stroke.

use std::fmt;
use std::path::Path;

use super::{Mark, RecordError, Row, Run, RunKind, RunName, RunStatus, runs_in};

/// Conditions of a cycle run: strokes wanted of the whole endurance, and done before this run.
pub(crate) const STROKES_WANTED: &str = "strokes_wanted";
/// See [`STROKES_WANTED`].
pub(crate) const STROKES_BEFORE: &str = "strokes_before";
/// Name of the refusal of an endurance that ended itself.
pub(crate) const LIMIT_PASSED: &str = "endurance-limit";

/// One stroke: closed to open and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeSummary {
    /// Number in its endurance, from 1.
    pub number: u32,
    /// Where the lever rests less where it was told to, at the closed and at the open end, % of travel.
    pub off_percent: [f32; 2],
    /// Half the difference of the current opening and closing, mid-travel, A.
    pub friction_a: f32,
    /// Largest current either way, A.
    pub peak_a: f32,
    /// Root mean square of the current, A.
    pub rms_a: f32,
    /// Volts over amperes at rest, Ω; none where too little current held the lever.
    pub winding_ohm: Option<f32>,
    /// Housing temperature, °C, where it is measured.
    pub celsius: Option<f32>,
    /// Samples that the line lost.
    pub lost: u32,
}

fn or_dash(value: Option<f32>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| value.to_string())
}

impl fmt::Display for StrokeSummary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { number, off_percent: [closed, open], friction_a, peak_a, rms_a, lost, .. } = self;
        let (winding, celsius) = (or_dash(self.winding_ohm), or_dash(self.celsius));
        write!(
            f,
            "stroke {number} off {closed} {open} friction {friction_a} peak {peak_a} rms {rms_a} winding {winding} \
             celsius {celsius} lost {lost}"
        )
    }
}

impl StrokeSummary {
    /// Reads what [`fmt::Display`] wrote after its first word; `None` for anything else.
    pub(super) fn parse(text: &str) -> Option<Self> {
        let words: Vec<_> = text.split(' ').collect();
        let [
            number,
            "off",
            closed,
            open,
            "friction",
            friction,
            "peak",
            peak,
            "rms",
            rms,
            "winding",
            winding,
            "celsius",
            celsius,
            "lost",
            lost,
        ] = words[..]
        else {
            return None;
        };
        let value = |text: &str| text.parse().ok().filter(|value: &f32| value.is_finite());
        let optional = |text: &str| if text == "-" { Some(None) } else { value(text).map(Some) };
        Some(Self {
            number: number.parse().ok()?,
            off_percent: [value(closed)?, value(open)?],
            friction_a: value(friction)?,
            peak_a: value(peak)?,
            rms_a: value(rms)?,
            winding_ohm: optional(winding)?,
            celsius: optional(celsius)?,
            lost: lost.parse().ok()?,
        })
    }
}

/// Copper: the winding's warmth over that of the first stroke, K (235 °C + 20 °C, IEC 60034-1, from memory).
const COPPER_K: f32 = 255.0;

/// How far an endurance is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Endurance {
    /// Its newest run.
    pub(crate) run: RunName,
    /// Strokes wanted.
    pub(crate) wanted: u32,
    /// Strokes done.
    pub(crate) done: u32,
    /// Why it goes no further; none where it only was cut short.
    pub(crate) ended: Option<String>,
    /// What cut its newest run short.
    pub(crate) cut: Option<String>,
    /// First and newest stroke of the newest run.
    ends: Option<[StrokeSummary; 2]>,
}

impl Endurance {
    /// What a cycle run says of its endurance; none for another run.
    #[must_use]
    pub(crate) fn of(run: &Run) -> Option<Self> {
        let number = |name: &str| run.file.conditions.get(name)?.parse::<u32>().ok();
        let (wanted, before) = (number(STROKES_WANTED)?, number(STROKES_BEFORE)?);
        let mut strokes = run.rows.iter().filter_map(|row| match row {
            Row::Mark(_, Mark::Stroke(stroke)) => Some(*stroke),
            Row::Mark(_, Mark::Gap { .. } | Mark::Touch { .. } | Mark::LostEvents { .. } | Mark::Note(_))
            | Row::Sample(_) => None,
        });
        let first = strokes.next();
        let last = strokes.next_back().or(first);
        let done = last.map_or(before, |stroke| stroke.number);
        let limit = run.file.outcome.refusal.as_ref().filter(|refusal| refusal.reason == LIMIT_PASSED);
        let ended = match (limit, done >= wanted) {
            (Some(refusal), _) => Some(refusal.seen.clone()),
            (None, true) => Some("all strokes done".to_owned()),
            (None, false) => None,
        };
        let cut = match &run.file.status {
            RunStatus::Complete => None,
            RunStatus::EndedByUnit { reason, .. } | RunStatus::Incomplete { reason } => Some(reason.clone()),
        };
        Some(Self { run: run.name, wanted, done, ended, cut, ends: first.zip(last).map(<[_; 2]>::from) })
    }

    /// The newest endurance of a unit.
    ///
    /// # Errors
    /// When its folder or its newest cycle run cannot be read: then nobody knows how far it is.
    pub(crate) fn newest(unit_dir: &Path) -> Result<Option<Self>, RecordError> {
        let runs = runs_in(unit_dir)?;
        match runs.iter().rfind(|(run, _)| run.kind == RunKind::Cycle) {
            None => Ok(None),
            Some((_, dir)) => Ok(Self::of(&Run::open(dir)?)),
        }
    }

    /// In a few lines: how far, and what has changed from the first stroke of the newest run to its last.
    #[must_use]
    pub(crate) fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("{} of {} strokes", self.done, self.wanted)];
        lines.extend(self.ended.iter().map(|why| format!("ended: {why}")));
        let Some([first, last]) = self.ends else { return lines };
        lines.push(format!(
            "strokes {} to {}: friction {:.3} → {:.3} A, current {:.2} → {:.2} A rms",
            first.number, last.number, first.friction_a, last.friction_a, first.rms_a, last.rms_a
        ));
        let drift = |end: usize| last.off_percent[end] - first.off_percent[end];
        lines.push(format!("drift: closed {:+.2}, open {:+.2} % of travel", drift(0), drift(1)));
        if let (Some(then), Some(now)) = (first.winding_ohm, last.winding_ohm) {
            let warmer = COPPER_K * (now / then - 1.0);
            lines.push(format!("winding {then:.2} → {now:.2} Ω, about {warmer:+.0} K (copper)"));
        }
        if let (Some(then), Some(now)) = (first.celsius, last.celsius) {
            lines.push(format!("housing {then:.0} → {now:.0} °C"));
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stroke_reads_back_as_it_was_written() {
        let stroke = StrokeSummary {
            number: 10_000,
            off_percent: [-0.1, 0.3],
            friction_a: 0.1 + 0.2,
            peak_a: 1.5,
            rms_a: 0.4,
            winding_ohm: None,
            celsius: Some(61.5),
            lost: 3,
        };
        assert_eq!(Mark::parse(&stroke.to_string()), Some(Mark::Stroke(stroke)));
        assert_eq!(
            Mark::parse("stroke 1 off 0 nan friction 0 peak 0 rms 0 winding - celsius - lost 0"),
            None
        );
    }
}
