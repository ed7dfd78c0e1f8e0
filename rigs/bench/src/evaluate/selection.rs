//! Which runs a verdict counts.
//!
//! In: a folder's runs in the order in which they were made. Out: those that belong together (one unit, one board,
//! one mounting, one calibration and its settings, the newest of each part), and each other run with why it is left
//! out. An interrupted run does not undo an older complete one; a run without its calibration is no measurement.

use std::fmt;

use firmware_core::calibration::{Setup, Warmth};

use crate::judge::{FaultOf, Finding};
use crate::record::{Job, Run, RunKind, RunName, RunStatus, RunTrouble, Unsound, Weight};

/// The runs that count, and the others.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Selection {
    /// They count, in the order in which they were made.
    pub counted: Vec<Run>,
    /// They do not.
    pub left_out: Vec<LeftOut>,
    /// The job that they belong to.
    pub job: Job,
}

/// A run that does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct LeftOut {
    /// The run.
    pub run: RunName,
    /// Why it does not count.
    pub why: WhyLeftOut,
}

/// Why a run does not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum WhyLeftOut {
    /// It was made on another unit and put into this folder.
    OtherUnit {
        /// The unit that it names.
        unit: String,
    },
    /// It belongs to another job, or shows the unit in another state.
    OtherJob {
        /// The job that it names.
        job: Job,
    },
    /// The actuator was mounted otherwise, or the other of cold and hot.
    OtherMounting {
        /// How it was mounted.
        setup: Setup,
        /// Cold or hot.
        warmth: Warmth,
    },
    /// It moved on another calibration than the newest learn's.
    OtherCalibration {
        /// The newest learn.
        learn: RunName,
    },
    /// It ran under other settings than the newest learn.
    OtherSettings {
        /// The newest learn.
        learn: RunName,
    },
    /// Another board drove it.
    OtherBoard {
        /// The newest learn.
        learn: RunName,
    },
    /// It was cut short, and an older run of its part is complete.
    CutShort {
        /// What cut it short.
        reason: String,
    },
    /// It is not what was recorded, as the unit's log says.
    Unsound {
        /// What is wrong.
        trouble: RunTrouble,
        /// The complete run of its kind that counts instead, where there is one.
        replaced_by: Option<RunName>,
    },
    /// A newer run of its part counts instead.
    Replaced {
        /// The newer run.
        by: RunName,
    },
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let run = &self.run;
        match &self.why {
            WhyLeftOut::OtherUnit { unit } => write!(f, "{run}: made on the unit {unit}"),
            WhyLeftOut::OtherJob { job } => write!(f, "{run}: of {job}"),
            WhyLeftOut::OtherMounting { setup, warmth } => write!(f, "{run}: made {setup}, {warmth}"),
            WhyLeftOut::OtherCalibration { learn } => {
                write!(f, "{run}: moved on another calibration than that of {learn}")
            }
            WhyLeftOut::OtherSettings { learn } => write!(f, "{run}: ran under other settings than {learn}"),
            WhyLeftOut::OtherBoard { learn } => write!(f, "{run}: driven by another board than {learn}"),
            WhyLeftOut::CutShort { reason } => write!(f, "{run}: cut short: {reason}"),
            WhyLeftOut::Unsound { trouble, .. } => write!(f, "{run}: {trouble}"),
            WhyLeftOut::Replaced { by } => write!(f, "{run}: replaced by {by}"),
        }
    }
}

impl LeftOut {
    /// True where the unit's own part has lost its evidence by it: the limits on that part are unanswered.
    #[must_use]
    pub(crate) fn leaves_a_gap(&self) -> bool {
        match self.why {
            WhyLeftOut::OtherCalibration { .. }
            | WhyLeftOut::OtherSettings { .. }
            | WhyLeftOut::OtherBoard { .. }
            | WhyLeftOut::Unsound { replaced_by: None, .. } => true,
            WhyLeftOut::OtherUnit { .. }
            | WhyLeftOut::OtherJob { .. }
            | WhyLeftOut::OtherMounting { .. }
            | WhyLeftOut::CutShort { .. }
            | WhyLeftOut::Unsound { replaced_by: Some(_), .. }
            | WhyLeftOut::Replaced { .. } => false,
        }
    }

    /// What the verdict must say of it; nothing where it is an older run like any other.
    #[must_use]
    pub(crate) fn finding(&self) -> Option<Finding> {
        match &self.why {
            WhyLeftOut::OtherUnit { unit } => Some(Finding {
                code: "foreign-run".into(),
                seen: format!("{} was made on the unit {unit} but is among the runs of this one", self.run),
                advice: "Move it back to its own unit's folder, then judge again.".into(),
                fault_of: FaultOf::Rig,
            }),
            WhyLeftOut::Unsound { trouble, replaced_by: None } => Some(Finding {
                code: "record-unsound".into(),
                seen: format!("{} cannot be relied on: {trouble}", self.run),
                advice:
                    "Restore it from a copy, or record this part again. `unit check` lists all that is found."
                        .into(),
                fault_of: FaultOf::Rig,
            }),
            WhyLeftOut::OtherJob { .. }
            | WhyLeftOut::OtherMounting { .. }
            | WhyLeftOut::OtherCalibration { .. }
            | WhyLeftOut::OtherSettings { .. }
            | WhyLeftOut::OtherBoard { .. }
            | WhyLeftOut::CutShort { .. }
            | WhyLeftOut::Unsound { replaced_by: Some(_), .. }
            | WhyLeftOut::Replaced { .. } => None,
        }
    }
}

impl Selection {
    /// Sorts the runs of `unit` that belong to the newest job that fits `asked`, less those that its log does not vouch
    /// for.
    #[must_use]
    pub(crate) fn of(runs: Vec<Run>, unit: &str, unsound: &[Unsound], asked: &Job) -> Self {
        let mut selection = Self::default();
        let runs = selection.keep(runs, |run| other_unit(run, unit));
        let of_others: Vec<RunName> = selection.left_out.iter().map(|left| left.run).collect();
        let is_unsound = |run: RunName| unsound.iter().any(|one| one.run == run);
        let runs = runs.into_iter().filter(|run| !is_unsound(run.name)).collect();
        let mut selection = selection.of_sound(runs, asked);
        let mut unsound = unsound.iter().filter(|one| !of_others.contains(&one.run)).collect::<Vec<_>>();
        unsound.sort_by_key(|one| one.run);
        selection.leave_out_unsound(&unsound);
        selection
    }

    fn leave_out_unsound(&mut self, unsound: &[&Unsound]) {
        for &Unsound { run, ref trouble } in unsound.iter().copied() {
            // An interrupted run does not undo an older complete one, nor does one whose missing end is explained.
            let may_be_older = trouble.weight() == Weight::Answered;
            let stands_in = |other: &&Run| {
                let is_newer = other.name.ordinal > run.ordinal;
                other.name.kind == run.kind && (is_newer || may_be_older) && !is_cut_short(other)
            };
            let replaced_by = self.counted.iter().find(stands_in).map(|other| other.name);
            let why = WhyLeftOut::Unsound { trouble: trouble.clone(), replaced_by };
            self.left_out.push(LeftOut { run, why });
        }
    }

    fn of_sound(self, runs: Vec<Run>, asked: &Job) -> Self {
        let mut selection = self;
        let newest = runs.iter().rev().filter_map(job_of).find(|job| asked.fits(job)).cloned();
        let judged = newest.as_ref().unwrap_or(asked).clone();
        let runs = selection.keep(runs, |run| other_job(run, &judged));
        selection.job = judged;
        let newest = runs.iter().rfind(|run| !run.file.is_diagnostic()).or(runs.last()).map(mounting);
        let runs = selection.keep(runs, |run| other_mounting(run, newest));
        let learn = runs.iter().rfind(|run| run.name.kind == RunKind::Learn && !is_cut_short(run)).cloned();
        let runs = match &learn {
            None => runs,
            Some(learn) => selection.keep(runs, |run| other_footing(run, learn)),
        };
        selection.keep_the_newest(runs);
        selection
    }

    fn keep(&mut self, runs: Vec<Run>, leave_out: impl Fn(&Run) -> Option<WhyLeftOut>) -> Vec<Run> {
        let mut kept = Vec::with_capacity(runs.len());
        for run in runs {
            match leave_out(&run) {
                Some(why) => self.left_out.push(LeftOut { run: run.name, why }),
                None => kept.push(run),
            }
        }
        kept
    }

    /// The newest run of each part, a complete one before one that was cut short.
    fn keep_the_newest(&mut self, runs: Vec<Run>) {
        for run in runs {
            let Some(at) = self.counted.iter().position(|older| part(older) == part(&run)) else {
                self.counted.push(run);
                continue;
            };
            match &run.file.status {
                RunStatus::Incomplete { reason }
                    if self.counted.get(at).is_some_and(|older| !is_cut_short(older)) =>
                {
                    let why = WhyLeftOut::CutShort { reason: reason.clone() };
                    self.left_out.push(LeftOut { run: run.name, why });
                }
                RunStatus::Incomplete { .. } | RunStatus::Complete | RunStatus::EndedByUnit { .. } => {
                    let older = self.counted.remove(at);
                    let why = WhyLeftOut::Replaced { by: run.name };
                    self.left_out.push(LeftOut { run: older.name, why });
                    self.counted.push(run);
                }
            }
        }
    }
}

fn is_cut_short(run: &Run) -> bool {
    match run.file.status {
        RunStatus::Incomplete { .. } => true,
        RunStatus::Complete | RunStatus::EndedByUnit { .. } => false,
    }
}

/// What a later run replaces: a picture never replaces a measurement.
fn part(run: &Run) -> (RunKind, bool) {
    (run.name.kind, run.file.is_diagnostic())
}

fn mounting(run: &Run) -> (Setup, Warmth) {
    (run.file.run.setup, run.file.run.warmth)
}

fn other_unit(run: &Run, unit: &str) -> Option<WhyLeftOut> {
    let named = &run.file.run.unit;
    (named != unit).then(|| WhyLeftOut::OtherUnit { unit: named.clone() })
}

/// A simulation belongs to every job, a run of an older release to none that is named.
fn job_of(run: &Run) -> Option<&Job> {
    run.file.run.provenance.as_ref().map(|provenance| &provenance.job)
}

/// One verdict speaks of one job and one state.
fn other_job(run: &Run, judged: &Job) -> Option<WhyLeftOut> {
    let job = match run.name.kind {
        RunKind::Simulate => return None,
        RunKind::Learn | RunKind::Sweep | RunKind::Friction | RunKind::Step | RunKind::Cycle => {
            job_of(run).cloned().unwrap_or_default()
        }
    };
    (!job.is_same(judged)).then_some(WhyLeftOut::OtherJob { job })
}

/// One verdict speaks of one mounting: cold and hot, free and attached are never mixed.
fn other_mounting(run: &Run, newest: Option<(Setup, Warmth)>) -> Option<WhyLeftOut> {
    let (setup, warmth) = mounting(run);
    (Some((setup, warmth)) != newest).then_some(WhyLeftOut::OtherMounting { setup, warmth })
}

/// Whether a run stands on something else than the newest learn left in force.
fn other_footing(run: &Run, learn: &Run) -> Option<WhyLeftOut> {
    match run.name.kind {
        RunKind::Learn | RunKind::Simulate => return None,
        RunKind::Sweep | RunKind::Friction | RunKind::Step if run.file.is_diagnostic() => return None,
        RunKind::Sweep | RunKind::Friction | RunKind::Step | RunKind::Cycle => {}
    }
    let learn_name = learn.name;
    if let (Some(now), Some(then)) = (&run.file.run.provenance, &learn.file.run.provenance) {
        if now.board != then.board {
            return Some(WhyLeftOut::OtherBoard { learn: learn_name });
        }
        if now.settings != then.settings {
            return Some(WhyLeftOut::OtherSettings { learn: learn_name });
        }
    }
    let is_other = run.file.outcome.calibration != learn.file.outcome.calibration;
    is_other.then_some(WhyLeftOut::OtherCalibration { learn: learn_name })
}
