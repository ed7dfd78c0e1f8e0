//! Endings by fault: one row each, and the text of the table.

use core::fmt;

use firmware_core::guard::GuardCause;
use serde::{Deserialize, Serialize};

use super::ending::{LossCause, WorldEnding, WorldFigures};
use super::fault::GuardFault;
use crate::campaign::Counted;

/// All worlds whose first fault this is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultRow {
    /// The fault.
    pub fault: GuardFault,
    /// Worlds run.
    pub worlds: u32,
    /// Of these, worlds that pass a limit without a guard.
    pub demanding: u32,
    /// TrueLimits kept, the guard never left normal.
    pub quiet: u32,
    /// TrueLimits kept, the guard acted.
    pub in_time: u32,
    /// A limit was passed although something was noticed.
    pub too_late: Vec<u32>,
    /// A limit was passed and nothing was noticed.
    pub undetected: Vec<u32>,
    /// What the runs that passed a limit show, by cause.
    pub causes: Vec<(LossCause, u32)>,
    /// What tripped the guard first, by cause.
    pub trips: Vec<(GuardCause, u32)>,
    /// Highest share of a limit used in runs that tripped and kept it: boost, turbo speed, exhaust pressure.
    pub tripped_used: [f64; 3],
    /// Slowest reaction, ticks.
    pub reaction_ticks: u32,
}

/// One row per fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultTable {
    /// The rows, in the order of [`GuardFault::ALL`].
    pub rows: Vec<FaultRow>,
}

impl FaultRow {
    fn empty(fault: GuardFault) -> Self {
        Self {
            fault,
            worlds: 0,
            demanding: 0,
            quiet: 0,
            in_time: 0,
            too_late: Vec::new(),
            undetected: Vec::new(),
            causes: Vec::new(),
            trips: Vec::new(),
            tripped_used: [0.0; 3],
            reaction_ticks: 0,
        }
    }

    fn add(&mut self, world: &WorldFigures) {
        self.worlds += 1;
        self.demanding += u32::from(world.is_demanding);
        self.reaction_ticks = self.reaction_ticks.max(world.reaction_ticks);
        if let Some(cause) = world.trip {
            count(&mut self.trips, cause, 1);
        }
        match world.ending {
            WorldEnding::Quiet => self.quiet += 1,
            WorldEnding::InTime => {
                self.in_time += 1;
                if world.trip.is_some() {
                    for (most, used) in self.tripped_used.iter_mut().zip(world.used) {
                        *most = most.max(used);
                    }
                }
            }
            WorldEnding::TooLate(cause) => {
                self.too_late.push(world.index);
                count(&mut self.causes, cause, 1);
            }
            WorldEnding::Undetected(cause) => {
                self.undetected.push(world.index);
                count(&mut self.causes, cause, 1);
            }
        }
    }

    /// Worlds in which the guard tripped.
    #[must_use]
    pub fn tripped(&self) -> u32 {
        self.trips.iter().map(|(_, worlds)| worlds).sum()
    }

    /// Worlds that passed a limit.
    #[must_use]
    pub fn lost(&self) -> u32 {
        (self.too_late.len() + self.undetected.len()) as u32
    }
}

impl FaultRow {
    fn join(&mut self, later: Self) {
        self.worlds += later.worlds;
        self.demanding += later.demanding;
        self.quiet += later.quiet;
        self.in_time += later.in_time;
        self.too_late.extend(later.too_late);
        self.undetected.extend(later.undetected);
        later.causes.into_iter().for_each(|(cause, worlds)| count(&mut self.causes, cause, worlds));
        self.causes.sort_unstable();
        later.trips.into_iter().for_each(|(cause, worlds)| count(&mut self.trips, cause, worlds));
        for (most, used) in self.tripped_used.iter_mut().zip(later.tripped_used) {
            *most = most.max(used);
        }
        self.reaction_ticks = self.reaction_ticks.max(later.reaction_ticks);
    }
}

impl Default for FaultTable {
    fn default() -> Self {
        Self::of(&[])
    }
}

impl Counted for FaultTable {
    fn join(&mut self, later: Self) {
        for (row, more) in self.rows.iter_mut().zip(later.rows) {
            row.join(more);
        }
    }

    fn is_sound(&self) -> bool {
        self.rows.iter().map(|row| row.fault).eq(GuardFault::ALL)
    }
}

impl FaultTable {
    /// Sorts worlds into rows.
    #[must_use]
    pub fn of(worlds: &[WorldFigures]) -> Self {
        let mut rows: Vec<FaultRow> = GuardFault::ALL.into_iter().map(FaultRow::empty).collect();
        for world in worlds {
            if let Some(row) = rows.iter_mut().find(|row| row.fault == world.fault) {
                row.add(world);
                row.causes.sort_unstable();
            }
        }
        Self { rows }
    }

    /// Worlds that passed a limit, over all faults.
    #[must_use]
    pub fn lost(&self) -> u32 {
        self.rows.iter().map(FaultRow::lost).sum()
    }

    /// Worlds that passed a limit and whose run shows no cause.
    #[must_use]
    pub fn untraced(&self) -> u32 {
        let causes = self.rows.iter().flat_map(|row| &row.causes);
        causes.filter(|(cause, _)| *cause == LossCause::Untraced).map(|(_, worlds)| worlds).sum()
    }
}

fn count<T: PartialEq>(counts: &mut Vec<(T, u32)>, item: T, more: u32) {
    match counts.iter_mut().find(|(named, _)| *named == item) {
        Some((_, count)) => *count += more,
        None => counts.push((item, more)),
    }
}

/// What was counted, in words.
fn listed<T: Copy>(counts: &[(T, u32)], name: impl Fn(T) -> &'static str) -> String {
    let words: Vec<String> =
        counts.iter().map(|(item, count)| format!("{count} × {}", name(*item))).collect();
    words.join("; ")
}

/// The table as comma-separated values with units in the header.
impl fmt::Display for FaultTable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "fault,worlds,demanding,quiet,in_time,too_late,undetected,tripped,tripped_boost_of_limit,\
             tripped_turbo_of_limit,tripped_exhaust_of_limit,slowest_reaction_ticks,causes,first_trips"
        )?;
        for row in &self.rows {
            let [boost, turbo, exhaust] = row.tripped_used;
            writeln!(
                f,
                "{},{},{},{},{},{},{},{},{boost:.3},{turbo:.3},{exhaust:.3},{},\"{}\",\"{}\"",
                row.fault.name(),
                row.worlds,
                row.demanding,
                row.quiet,
                row.in_time,
                row.too_late.len(),
                row.undetected.len(),
                row.tripped(),
                row.reaction_ticks,
                listed(&row.causes, LossCause::name),
                listed(&row.trips, GuardCause::name),
            )?;
        }
        Ok(())
    }
}
