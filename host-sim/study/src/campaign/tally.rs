//! Counts a part of a campaign: chunks on all threads, in whatever order they are done, counted in the order of
//! the runs.
//!
//! In: how a chunk of runs is made. Out: what was counted, with the same bytes whatever the number of threads;
//! progress for the caller after every chunk, a file now and then. A chunk done early waits for those before it; no
//! more of them wait than are done while the slowest chunk runs.

use std::collections::BTreeMap;
use std::ops::{ControlFlow, Range};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rayon::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::part::{Asks, KeptPart, Marks};
use super::part_error::PartError;
use super::share::Share;
use super::{Next, Progress};

/// Least time between two saves.
const BETWEEN_SAVES: Duration = Duration::from_secs(1);

/// What a campaign counts, run by run in order.
pub trait Counted: Default + Send + Serialize + DeserializeOwned {
    /// Adds what was counted of the runs that follow. Parts joined in order give what one count of all gives.
    fn join(&mut self, later: Self);

    /// Whether it has the shape that this program makes.
    fn is_sound(&self) -> bool;
}

/// Which part of a campaign to make, and where it is kept.
#[derive(Debug, Clone)]
pub struct PartOrder<'a> {
    /// Which runs.
    pub share: Share,
    /// File that keeps them; without it an interruption loses them.
    pub file: Option<&'a Path>,
    /// What the caller wants to know again when parts are merged.
    pub told: Value,
}

impl PartOrder<'_> {
    /// The whole campaign, kept nowhere.
    pub const WHOLE: Self = Self { share: Share::WHOLE, file: None, told: Value::Null };
}

/// What was counted, and of how many runs.
#[derive(Debug, Clone, PartialEq)]
pub struct SoFar<C> {
    /// What was counted.
    pub counted: C,
    /// Of how many runs; fewer than wanted after a stop.
    pub progress: Progress,
}

/// Makes the runs of a part that are not yet done.
pub(super) fn count<C: Counted, E: From<PartError> + Send>(
    (asks, marks, all): (Asks, Marks, u64),
    chunk: u64,
    job: &PartOrder<'_>,
    run: impl Fn(Range<u64>) -> Result<C, E> + Sync,
    watch: impl FnMut(Progress) -> Next + Send,
) -> Result<SoFar<C>, E> {
    let kept = job.file.map(|file| KeptPart::load(file, asks, &marks, job.share)).transpose()?.flatten();
    let kept = kept.unwrap_or_else(|| KeptPart {
        asks,
        marks,
        runs: all,
        share: job.share,
        done: 0,
        told: job.told.clone(),
        counted: C::default(),
    });
    let runs = job.share.runs(all);
    let waiting = AtomicU64::new(runs.start + kept.done);
    let tally = Mutex::new(Tally::new(kept, job.file, watch));
    // Every thread takes the chunk that is next, so that none waits for another before the end.
    (0..rayon::current_num_threads()).into_par_iter().for_each(|_| {
        loop {
            let from = waiting.fetch_add(chunk, Ordering::Relaxed);
            if from >= runs.end {
                break;
            }
            let these = from..runs.end.min(from + chunk);
            let ended = run(these.clone());
            if tally.lock().unwrap_or_else(PoisonError::into_inner).take(these, ended).is_break() {
                break;
            }
        }
    });
    tally.into_inner().unwrap_or_else(PoisonError::into_inner).finish()
}

/// A part on its way, and who is told of it.
struct Tally<'a, C, E, W> {
    kept: KeptPart<C>,
    early: BTreeMap<u64, (u64, Result<C, E>)>,
    file: Option<&'a Path>,
    saved_at: Option<Instant>,
    watch: W,
    next: Result<Next, E>,
}

impl<'a, C: Counted, E: From<PartError>, W: FnMut(Progress) -> Next> Tally<'a, C, E, W> {
    fn new(kept: KeptPart<C>, file: Option<&'a Path>, watch: W) -> Self {
        Self { kept, early: BTreeMap::new(), file, saved_at: None, watch, next: Ok(Next::GoOn) }
    }

    /// Takes a chunk and says whether to go on.
    fn take(&mut self, runs: Range<u64>, ended: Result<C, E>) -> ControlFlow<()> {
        self.early.insert(runs.start, (runs.end - runs.start, ended));
        let first = self.kept.share.runs(self.kept.runs).start;
        while matches!(self.next, Ok(Next::GoOn))
            && let Some((runs, ended)) = self.early.remove(&(first + self.kept.done))
        {
            self.next = ended.and_then(|counted| self.count(runs, counted));
        }
        match self.next {
            Ok(Next::GoOn) => ControlFlow::Continue(()),
            Ok(Next::Stop) | Err(_) => ControlFlow::Break(()),
        }
    }

    fn count(&mut self, runs: u64, counted: C) -> Result<Next, E> {
        self.kept.counted.join(counted);
        self.kept.done += runs;
        if self.saved_at.is_none_or(|at| at.elapsed() >= BETWEEN_SAVES) {
            self.save()?;
        }
        Ok((self.watch)(self.kept.progress()))
    }

    fn save(&mut self) -> Result<(), E> {
        if let Some(file) = self.file {
            self.kept.save(file)?;
            self.saved_at = Some(Instant::now());
        }
        Ok(())
    }

    fn finish(mut self) -> Result<SoFar<C>, E> {
        self.save()?;
        self.next?;
        Ok(SoFar { progress: self.kept.progress(), counted: self.kept.counted })
    }
}
