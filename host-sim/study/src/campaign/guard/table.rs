//! Outcomes by fault: one row each, and the text of the table.

use core::fmt;

use firmware_core::guard::GuardCause;

use super::fault::GuardFault;
use super::run::{PassedWhy, WorldFigures, WorldVerdict};

/// All worlds of one fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The fault.
    pub fault: GuardFault,
    /// Worlds run.
    pub worlds: u32,
    /// Worlds in which the guard tripped.
    pub tripped: u32,
    /// What tripped it first, by cause.
    pub trips: Vec<(GuardCause, u32)>,
    /// Worlds that kept their limits.
    pub held: u32,
    /// Worlds lost, by reason.
    pub lost: Vec<(PassedWhy, u32)>,
    /// Worlds that nobody can explain, by number.
    pub unhandled: Vec<u32>,
    /// Highest boost over its limit among the held worlds.
    pub boost_used: f64,
    /// Highest turbo speed among the held worlds, rpm.
    pub turbo_rpm: f64,
    /// Highest exhaust pressure among all worlds, kPa.
    pub exhaust_kpa: f64,
    /// Slowest reaction among all worlds, ticks.
    pub reaction_ticks: u32,
}

/// One row per fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The rows, in the order of [`GuardFault::ALL`].
    pub rows: Vec<Row>,
}

impl Row {
    fn empty(fault: GuardFault) -> Self {
        Self {
            fault,
            worlds: 0,
            tripped: 0,
            trips: Vec::new(),
            held: 0,
            lost: Vec::new(),
            unhandled: Vec::new(),
            boost_used: 0.0,
            turbo_rpm: 0.0,
            exhaust_kpa: 0.0,
            reaction_ticks: 0,
        }
    }

    fn add(&mut self, outcome: &WorldFigures) {
        self.worlds += 1;
        if let Some(cause) = outcome.trip {
            self.tripped += 1;
            count(&mut self.trips, cause);
        }
        self.exhaust_kpa = self.exhaust_kpa.max(outcome.exhaust_kpa);
        self.reaction_ticks = self.reaction_ticks.max(outcome.reaction_ticks);
        match outcome.verdict {
            WorldVerdict::Held => {
                self.held += 1;
                self.boost_used = self.boost_used.max(outcome.boost_used);
                self.turbo_rpm = self.turbo_rpm.max(outcome.turbo_rpm);
            }
            WorldVerdict::Unhandled => self.unhandled.push(outcome.index),
            WorldVerdict::Lost(loss) => count(&mut self.lost, loss),
        }
    }
}

impl Table {
    /// Sorts outcomes into rows.
    #[must_use]
    pub fn of(outcomes: &[WorldFigures]) -> Self {
        let mut rows: Vec<Row> = GuardFault::ALL.into_iter().map(Row::empty).collect();
        for outcome in outcomes {
            if let Some(row) = rows.iter_mut().find(|row| row.fault == outcome.fault) {
                row.add(outcome);
                row.lost.sort_unstable();
            }
        }
        Self { rows }
    }

    /// Worlds without explanation, over all faults.
    #[must_use]
    pub fn unhandled(&self) -> Vec<u32> {
        self.rows.iter().flat_map(|row| row.unhandled.iter().copied()).collect()
    }
}

fn count<T: PartialEq>(counts: &mut Vec<(T, u32)>, item: T) {
    match counts.iter_mut().find(|(named, _)| *named == item) {
        Some((_, count)) => *count += 1,
        None => counts.push((item, 1)),
    }
}

/// What was counted, in words.
fn listed<T: Copy>(counts: &[(T, u32)], name: impl Fn(T) -> &'static str) -> String {
    let words: Vec<String> =
        counts.iter().map(|(item, count)| format!("{count} × {}", name(*item))).collect();
    words.join("; ")
}

/// The table as comma-separated values with units in the header.
impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "fault,worlds,tripped,held,lost,unhandled,held_peak_boost_of_limit,held_peak_turbo_rpm,\
             peak_exhaust_kpa,slowest_reaction_ticks,losses,first_trips"
        )?;
        for row in &self.rows {
            let lost: u32 = row.lost.iter().map(|(_, count)| count).sum();
            writeln!(
                f,
                "{},{},{},{},{lost},{},{:.3},{:.0},{:.0},{},\"{}\",\"{}\"",
                row.fault.name(),
                row.worlds,
                row.tripped,
                row.held,
                row.unhandled.len(),
                row.boost_used,
                row.turbo_rpm,
                row.exhaust_kpa,
                row.reaction_ticks,
                listed(&row.lost, PassedWhy::name),
                listed(&row.trips, GuardCause::name),
            )?;
        }
        Ok(())
    }
}
