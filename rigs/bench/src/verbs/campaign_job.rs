//! What every campaign takes beside its question: which part to make, the file that keeps it, threads.
//!
//! In: options, and how the kind at hand counts. Out: what was counted of the whole campaign, or the end of a part,
//! which is told here.

use std::path::{Path, PathBuf};

use serde::Serialize;
use serde::de::DeserializeOwned;
use study::campaign::{Next, PartError, PartOrder, Progress, Share, SoFar};

use crate::console::Console;
use crate::document::CampaignPartDocument;
use crate::exit::{Exit, Failure};
use crate::interrupt;
use crate::progress::ProgressLine;
use crate::whole_number::whole;

/// Most threads; more than a computer has cores only take turns.
const MOST_THREADS: u64 = 1024;

/// Options of every campaign.
#[derive(Debug, clap::Args)]
pub(super) struct PartArgs {
    /// Make only part K of N and keep it in the file that --out names; `campaign merge` puts the parts together
    #[arg(long, value_name = "K/N", requires = "out")]
    part: Option<Share>,
    /// With --part: the file that keeps the part; after an interruption, repeat the command line to
    /// continue. Without --part: folder for the pages, if the campaign makes any
    #[arg(long, value_name = "PATH")]
    out: Option<PathBuf>,
    /// File that keeps the progress of the whole campaign; after an interruption, repeat the
    /// command line to continue
    #[arg(long, value_name = "FILE", conflicts_with = "part")]
    checkpoint: Option<PathBuf>,
    /// Threads; without it, one for each core. The result does not depend on it
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = whole::<usize>(1..=MOST_THREADS))]
    threads: Option<usize>,
}

/// How a count ended.
pub(super) enum Counting<C> {
    /// All runs, or those before an interruption.
    Whole(SoFar<C>),
    /// A part, which is kept and told.
    Part(Exit),
}

impl PartArgs {
    /// The folder for pages, where this is no part.
    pub(super) fn folder(&self) -> Option<&Path> {
        if self.part.is_some() { None } else { self.out.as_deref() }
    }

    /// How many of so many runs are made here.
    pub(super) fn runs_of(&self, all: u64) -> u64 {
        let runs = self.part.unwrap_or(Share::WHOLE).runs(all);
        runs.end - runs.start
    }

    /// Refuses a folder for pages.
    ///
    /// # Errors
    /// When there is one.
    pub(super) fn without_pages(&self) -> Result<(), Failure> {
        match self.folder() {
            None => Ok(()),
            Some(_) => Err(Failure::usage(
                "--out: this campaign makes no pages. Give --part K/N with it, or --checkpoint FILE to \
                 keep the whole campaign",
            )),
        }
    }

    /// Refuses, beside a part, the first of these options that was given.
    ///
    /// # Errors
    /// When there is one.
    pub(super) fn without_extras(&self, given: &[Option<&str>]) -> Result<(), Failure> {
        match (self.part, given.iter().flatten().next()) {
            (Some(share), Some(option)) => Err(Failure::usage(format!(
                "{option} with --part {share}: a part does not keep what {option} counts, so a merge could \
                 not report it. Make the parts without {option}, then run the campaign once with {option} \
                 and without --part"
            ))),
            (None, _) | (Some(_), None) => Ok(()),
        }
    }

    /// The file that an interrupted campaign goes on from.
    pub(super) fn kept_in(&self) -> Option<&Path> {
        if self.part.is_some() { self.out.as_deref() } else { self.checkpoint.as_deref() }
    }

    /// Counts, and tells of a part.
    ///
    /// # Errors
    /// What the count fails for.
    pub(super) fn count<C: Send, E: Send>(
        &self,
        (what, console): (&str, &Console),
        told: &impl Serialize,
        count: impl FnOnce(&PartOrder<'_>, &mut (dyn FnMut(Progress) -> Next + Send)) -> Result<SoFar<C>, E>
        + Send,
        refused: impl FnOnce(E) -> Failure,
    ) -> Result<Counting<C>, Failure> {
        let told = serde_json::to_value(told).map_err(Failure::undetermined)?;
        let job = PartOrder { share: self.part.unwrap_or(Share::WHOLE), file: self.kept_in(), told };
        let pool = self.pool()?;
        let shown = ProgressLine::begin(console, what);
        let watch = interrupt::watch();
        let counted = pool.install(|| {
            count(&job, &mut |progress| {
                shown.set(progress.done, progress.wanted);
                if interrupt::asked() { Next::Stop } else { Next::GoOn }
            })
        });
        drop(watch);
        drop(shown);
        let so_far = counted.map_err(refused)?;
        match (self.part, &self.out) {
            (Some(share), Some(file)) => {
                tell_part((what, share), file, so_far.progress, console).map(Counting::Part)
            }
            (_, _) => Ok(Counting::Whole(so_far)),
        }
    }

    /// The threads that were asked for.
    fn pool(&self) -> Result<rayon::ThreadPool, Failure> {
        let threads = rayon::ThreadPoolBuilder::new().num_threads(self.threads.unwrap_or(0));
        threads.build().map_err(Failure::undetermined)
    }

    /// Runs what an option asks for beside the campaign, on the same threads: shown as it goes, and nothing of it kept
    /// after an interruption.
    ///
    /// # Errors
    /// What the run fails for, or that it was interrupted.
    pub(super) fn beside<T: Send, E: Send>(
        &self,
        (what, option): (&str, &str),
        console: &Console,
        run: impl FnOnce(&(dyn Fn(Progress) -> Next + Sync)) -> Result<Option<T>, E> + Send,
        refused: impl FnOnce(E) -> Failure,
    ) -> Result<T, Failure> {
        let pool = self.pool()?;
        let shown = ProgressLine::begin(console, what);
        let _watch = interrupt::watch();
        let done = pool.install(|| {
            run(&|progress| {
                shown.set(progress.done, progress.wanted);
                if interrupt::asked() { Next::Stop } else { Next::GoOn }
            })
        });
        done.map_err(refused)?.ok_or_else(|| {
            Failure::interrupted(format!(
                "interrupted ({what}); none of it is kept. To run the campaign alone, leave out {option}."
            ))
        })
    }

    /// A campaign that tells nothing before it is whole.
    ///
    /// # Errors
    /// When it was interrupted.
    pub(super) fn whole<C>(&self, so_far: SoFar<C>) -> Result<C, Failure> {
        let Progress { done, wanted } = so_far.progress;
        if done == wanted {
            return Ok(so_far.counted);
        }
        Err(Failure::interrupted(format!(
            "interrupted after {done} of {wanted} runs; {}",
            self.how_to_go_on()
        )))
    }

    /// What to do after an interruption.
    pub(super) fn how_to_go_on(&self) -> String {
        match self.kept_in() {
            Some(file) => format!("repeat the command line to continue from {}", file.display()),
            None => "progress lost; --checkpoint FILE keeps it".to_owned(),
        }
    }
}

fn tell_part(
    (what, share): (&str, Share),
    file: &Path,
    progress: Progress,
    console: &Console,
) -> Result<Exit, Failure> {
    let Progress { done, wanted } = progress;
    let (name, of) = (file.display(), share.of());
    let (end, exit) = if done == wanted {
        (format!("`vanebench campaign merge` gives the result once all {of} parts are done"), Exit::Done)
    } else {
        (format!("interrupted; repeat the command line to continue from {name}"), Exit::Interrupted)
    };
    let text = format!("{what}, part {share}: {done} of {wanted} runs done, kept in {name}; {end}");
    let document =
        CampaignPartDocument { part: share.to_string(), file: file.display().to_string(), done, wanted };
    console.result(&text, &document)?;
    Ok(exit)
}

/// A disk that refuses is nobody's fault; any other trouble with a part is the caller's.
pub(super) fn refused_part(error: PartError) -> Failure {
    match error {
        PartError::Unwritable { .. } => Failure::undetermined(error),
        PartError::Unreadable { .. }
        | PartError::Foreign { .. }
        | PartError::Changed { .. }
        | PartError::OtherCampaign { .. }
        | PartError::Differs { .. }
        | PartError::Unfinished { .. }
        | PartError::Overlap { .. }
        | PartError::Missing { .. } => Failure::usage(error),
    }
}

/// What a part keeps for its telling.
///
/// # Errors
/// When another release kept it.
pub(super) fn told<T: DeserializeOwned>(kept: serde_json::Value) -> Result<T, Failure> {
    serde_json::from_value(kept).map_err(|error| {
        Failure::usage(format!(
            "another release made the first part ({error}); run it again with this release"
        ))
    })
}
