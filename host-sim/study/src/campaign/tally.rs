//! Takes chunks of runs in whatever order they are done, and counts them in the order of the runs.
//!
//! In: chunks from all threads. Out: statistics that have the same bytes whatever the number of threads,
//! progress for the caller, a checkpoint now and then. A chunk done early waits for those before it; no more
//! of them wait than are done while the slowest chunk runs.

use std::collections::BTreeMap;
use std::path::Path;

use super::checkpoint::{Checkpoint, CheckpointError};
use super::{CampaignStats, EndedRun, Next, Progress};

/// Chunks between two looks at the caller, and two checkpoints.
const CHUNKS_BETWEEN_LOOKS: u64 = 16;

/// A campaign's statistics so far, and who is told of them.
pub(super) struct Tally<'a, W> {
    kept: Checkpoint,
    early: BTreeMap<u64, Vec<EndedRun>>,
    chunks: u64,
    wanted_runs: u64,
    checkpoint: Option<&'a Path>,
    watch: W,
    next: Result<Next, CheckpointError>,
}

impl<'a, W: FnMut(Progress) -> Next> Tally<'a, W> {
    pub(super) fn new(
        kept: Checkpoint,
        (chunks, wanted_runs): (u64, u64),
        checkpoint: Option<&'a Path>,
        watch: W,
    ) -> Self {
        Self { kept, early: BTreeMap::new(), chunks, wanted_runs, checkpoint, watch, next: Ok(Next::GoOn) }
    }

    /// Takes a chunk and says whether to go on.
    pub(super) fn take(&mut self, chunk: u64, ended: Vec<EndedRun>) -> Next {
        self.early.insert(chunk, ended);
        while self.next == Ok(Next::GoOn)
            && let Some(ended) = self.early.remove(&self.kept.chunks_done)
        {
            for (run, ended) in ended {
                match ended {
                    Ok(metrics) => self.kept.stats.add(run, &metrics),
                    Err(reason) => self.kept.stats.add_failure(run, reason),
                }
            }
            self.kept.chunks_done += 1;
            let is_last = self.kept.chunks_done == self.chunks;
            if is_last || self.kept.chunks_done.is_multiple_of(CHUNKS_BETWEEN_LOOKS) {
                self.next = self.look();
            }
        }
        self.next.clone().unwrap_or(Next::Stop)
    }

    fn look(&mut self) -> Result<Next, CheckpointError> {
        if let Some(file) = self.checkpoint {
            self.kept.save(file)?;
        }
        Ok((self.watch)(Progress { done: self.kept.stats.runs(), wanted: self.wanted_runs }))
    }

    pub(super) fn finish(self) -> Result<CampaignStats, CheckpointError> {
        self.next.map(|_| self.kept.stats)
    }
}
