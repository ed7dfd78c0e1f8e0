//! `campaign learn`: every fault of the catalogue, many times, judged by the truth of the simulated world.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use firmware_core::settings::Settings;
use serde::{Deserialize, Serialize};
use study::campaign::learn::{LearnCampaign, LearnCampaignError, LearnCounts, LearnPlan, Rate, campaign};
use study::catalogue::{self, Preset, Tag};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::learn_picture;
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
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
    console.result(&text(&result), &result)?;
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

/// The result as a table for people.
#[must_use]
pub fn text(result: &LearnCampaign) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{:<30} {:<13} {:>5} {:>8} {:>10} {:>8} {:>8} {:>8} {:>8}  reasons",
        "fault", "must", "runs", "accepted", "not proven", "refused", "wrong +", "wrong -", "misfit"
    );
    for fault in &result.faults {
        let reasons: Vec<String> =
            fault.rejected.iter().map(|(name, count)| format!("{name} {count}")).collect();
        let _ = writeln!(
            out,
            "{:<30} {:<13} {:>5} {:>8} {:>10} {:>8} {:>8} {:>8} {:>8}  {}",
            fault.name,
            must(fault.tag),
            fault.runs,
            fault.accepted,
            fault.not_proven,
            fault.refused(),
            fault.wrongly_accepted,
            fault.wrongly_rejected,
            fault.other_reason,
            reasons.join(", ")
        );
    }
    let _ = writeln!(
        out,
        "\nwrong: a stop off by more than {:.1} % of travel; below the tolerance accepting is right, also of a \
         fault that must be rejected",
        100.0 * result.tolerance
    );
    rate(&mut out, "wrongly accepted of must-reject", &result.wrongly_accepted);
    rate(&mut out, "accepted past a failed check", &result.accepted_unproven);
    rate(&mut out, "wrongly rejected of must-accept", &result.wrongly_rejected);
    rate(&mut out, "refused for another reason", &result.other_reason);
    if let Some(times) =
        result.faults.iter().find(|fault| fault.tag == Tag::MustAccept).and_then(|f| f.seconds)
    {
        let _ = writeln!(
            out,
            "time to learn of sound units: median {:.2} s, 95 % within {:.2} s, longest {:.2} s",
            times.median, times.p95, times.max
        );
    }
    for failure in result.failures() {
        let _ = writeln!(out, "NOT AS IT MUST BE: {failure}");
    }
    out
}

fn rate(out: &mut String, what: &str, rate: &Rate) {
    let _ = writeln!(
        out,
        "{what}: {} of {} (exact 95 % bounds {:.4} % to {:.4} %)",
        rate.count,
        rate.of,
        100.0 * rate.bounds[0],
        100.0 * rate.bounds[1]
    );
}

fn must(tag: Tag) -> &'static str {
    match tag {
        Tag::MustReject => "reject",
        Tag::MustAccept => "accept",
        Tag::UndecidableWithout(_) => "be checked",
    }
}
