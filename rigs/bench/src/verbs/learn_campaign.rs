//! `campaign learn`: every fault of the catalogue, many times, judged by the truth of the simulated world.

use std::path::{Path, PathBuf};

use firmware_core::settings::Settings;
use serde::{Deserialize, Serialize};
use study::campaign::learn::{
    FaultTally, LearnCampaign, LearnCampaignError, LearnCounts, LearnPlan, Rate, campaign,
};
use study::catalogue::{self, Preset, Tag};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::learn_picture;
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::write_file;

/// What `campaign learn` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Learns of each fault
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    runs: u64,
    /// Seed; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Only this fault; may be given more than once
    #[arg(long, value_name = "FAULT")]
    only: Vec<String>,
    /// Also draw the confusion table as an SVG picture
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    #[command(flatten)]
    job: PartArgs,
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct LearnTold {
    seed: u64,
    runs: u64,
}

/// Runs the campaign and tells what it found.
///
/// # Errors
/// A [`Failure`] for an unknown fault, a world that runs away or a file that cannot be written.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    args.job.without_pages()?;
    let plan = LearnPlan {
        presets: chosen(&args.only)?,
        nominal: catalogue::nominal_unit(),
        settings: Settings::default(),
        runs: args.runs,
        seed: args.seed,
    };
    let told = LearnTold { seed: args.seed, runs: args.runs };
    match args.job.count(
        ("learn campaign", console),
        &told,
        |job, watch| campaign(&plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => tell(&told, args.job.whole(so_far)?, args.picture.as_deref(), console),
    }
}

/// Tells the result of a whole campaign.
///
/// # Errors
/// When the picture or standard output cannot be written.
pub(super) fn tell(
    told: &LearnTold,
    counts: LearnCounts,
    picture: Option<&Path>,
    console: &Console,
) -> VerbResult {
    let result = LearnCampaign::new(told.seed, told.runs, counts.finish());
    if let Some(path) = picture {
        write_file(path, learn_picture::confusion(&result).as_bytes())?;
    }
    console.result(&text(&result, Fold::of_the_reader()), &result)?;
    Ok(if result.failures().is_empty() { Exit::Done } else { Exit::OutOfLimits })
}

fn refused(error: LearnCampaignError) -> Failure {
    match error {
        LearnCampaignError::Part(error) => refused_part(error),
        LearnCampaignError::Learn { .. } => Failure::undetermined(error),
    }
}

/// The faults that are named, each once, or all.
fn chosen(only: &[String]) -> Result<Vec<&'static Preset>, Failure> {
    if only.is_empty() {
        return Ok(catalogue::all().collect());
    }
    let mut presets: Vec<&Preset> = Vec::new();
    for name in only {
        let preset = catalogue::find(name).map_err(Failure::usage)?;
        if presets.iter().all(|chosen| chosen.name != preset.name) {
            presets.push(preset);
        }
    }
    Ok(presets)
}

/// The verdict, what became of each fault, the rates, and the verdict once more.
fn text(result: &LearnCampaign, fold: Fold) -> String {
    let verdict = verdict(result);
    let mut rows = vec![["fault", "must", "came out as"].map(str::to_owned).to_vec()];
    let row = |fault: &FaultTally| vec![fault.name.clone(), must(fault.tag).to_owned(), came_out(fault)];
    rows.extend(result.faults.iter().map(row));
    let mut lines = vec![
        verdict.clone(),
        format!("{} simulated learns of each fault, seed {}; nothing moved", result.runs, result.seed),
        String::new(),
        fold.table(&rows),
        String::new(),
        format!(
            "wrong: a stop off by more than {:.1} % of travel; below the tolerance accepting is right, also of a fault \
             that must be rejected",
            100.0 * result.tolerance
        ),
        rate("wrongly accepted of must-reject", &result.wrongly_accepted),
        rate("accepted past a failed check", &result.accepted_unproven),
        rate("wrongly rejected of must-accept", &result.wrongly_rejected),
        rate("refused for another reason", &result.other_reason),
    ];
    let sound =
        result.faults.iter().find(|fault| fault.tag == Tag::MustAccept).and_then(|fault| fault.seconds);
    lines.extend(sound.map(|times| {
        format!(
            "time to learn of sound units: median {:.2} s, 95 % within {:.2} s, longest {:.2} s",
            times.median, times.p95, times.max
        )
    }));
    lines.extend(result.failures().iter().map(|failure| format!("NOT AS IT MUST BE: {failure}")));
    lines.push(verdict);
    lines.join("\n")
}

/// What it comes to, in a line.
fn verdict(result: &LearnCampaign) -> String {
    let believed = result.wrongly_accepted.count + result.accepted_unproven.count;
    let counts =
        format!("{believed} wrong stops believed, {} sound units refused", result.wrongly_rejected.count);
    match result.failures().len() {
        0 => format!("AS IT MUST BE: {counts}"),
        failures => format!("NOT AS IT MUST BE: {counts}, {failures} findings"),
    }
}

/// How the learns of a fault ended; what was wrong in capitals.
fn came_out(fault: &FaultTally) -> String {
    let plain =
        [("accepted", fault.accepted), ("not proven", fault.not_proven), ("refused", fault.refused())];
    let wrong = [
        ("WRONGLY ACCEPTED", fault.wrongly_accepted),
        ("WRONGLY REFUSED", fault.wrongly_rejected),
        ("FOR ANOTHER REASON", fault.other_reason),
    ];
    let is_some = |(_, count): &(&str, u64)| *count > 0;
    let said = |(what, count): (&str, u64)| format!("{what} {count}");
    let mut parts: Vec<String> = plain.into_iter().filter(is_some).map(said).collect();
    if !fault.rejected.is_empty() {
        let reasons: Vec<String> =
            fault.rejected.iter().map(|(name, count)| format!("{name} {count}")).collect();
        parts.push(format!("by {}", reasons.join(", ")));
    }
    parts.extend(wrong.into_iter().filter(is_some).map(said));
    parts.join("; ")
}

fn rate(what: &str, rate: &Rate) -> String {
    format!(
        "{what}: {} of {} (exact 95 % bounds {:.4} % to {:.4} %)",
        rate.count,
        rate.of,
        100.0 * rate.bounds[0],
        100.0 * rate.bounds[1]
    )
}

fn must(tag: Tag) -> &'static str {
    match tag {
        Tag::MustReject => "reject",
        Tag::MustAccept => "accept",
        Tag::UndecidableWithout(_) => "be checked",
    }
}
