//! `campaign learn`: every fault of the catalogue, many times, judged by the truth of the simulated world.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use study::campaign::learn::{
    ERROR_STEP_ENDS, Endings, FaultTally, LearnCampaign, LearnCampaignError, LearnCounts, LearnExtras,
    LearnRuns, PairTally, Rate, SEVERITY_STEPS, SignRow, ablation, campaign, two_faults,
};
use study::catalogue::{self, Preset, Tag};

use super::campaign_job::{Counting, PartArgs, refused_part};
use super::learn_picture;
use crate::actuator::{BuiltInActuator, DEMO, read_name};
use crate::console::Console;
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::output::write_file;
use crate::whole_number::whole;

/// Most units with two faults: each is kept until all are learned.
const MOST_PAIRS: u64 = 1_000_000;

/// What `campaign learn` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Learns of each fault
    #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    runs: u64,
    /// Seed; the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Built-in actuator whose units are learned, under its own profile; `vanebench ports` lists them
    #[arg(long, value_name = "NAME", value_parser = read_name, default_value = DEMO.name)]
    actuator: &'static BuiltInActuator,
    /// Only this fault; may be given more than once
    #[arg(long, value_name = "FAULT")]
    only: Vec<String>,
    /// Also switch each sign of the learner off in turn, over the same draws: about twenty times as
    /// long. Not with --part
    #[arg(long)]
    ablate: bool,
    /// Also learn this many units with two faults at once, any two. Not with --part
    #[arg(long, value_name = "UNITS", value_parser = whole::<u64>(1..=MOST_PAIRS))]
    two_faults: Option<u64>,
    /// Also draw acceptance against error and severity as an SVG picture
    #[arg(long, value_name = "FILE", conflicts_with = "part")]
    picture: Option<PathBuf>,
    #[command(flatten)]
    job: PartArgs,
}

/// What a result names beside its numbers; a part keeps it.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct LearnTold {
    actuator: String,
    seed: u64,
    runs: u64,
}

/// Runs the campaign and tells what it found.
///
/// # Errors
/// A [`Failure`] for an unknown fault, a world that runs away or a file that cannot be written.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    args.job.without_pages()?;
    args.job
        .without_extras(&[args.ablate.then_some("--ablate"), args.two_faults.and(Some("--two-faults"))])?;
    let plan = LearnRuns {
        presets: chosen(&args.only)?,
        nominal: args.actuator.plant().map_err(Failure::usage)?,
        settings: args.actuator.profile().map_err(Failure::usage)?.settings,
        runs: args.runs,
        seed: args.seed,
    };
    if args.two_faults.is_some()
        && plan.presets.iter().filter(|preset| preset.tag != Tag::MustAccept).count() < 2
    {
        return Err(Failure::usage(
            "--two-faults: --only leaves fewer than two faults; name two with --only, or leave one of both out",
        ));
    }
    let told = LearnTold { actuator: args.actuator.name.to_owned(), seed: args.seed, runs: args.runs };
    match args.job.count(
        ("learn campaign", console),
        &told,
        |job, watch| campaign(&plan, job, watch),
        refused,
    )? {
        Counting::Part(exit) => Ok(exit),
        Counting::Whole(so_far) => {
            let counts = args.job.whole(so_far)?;
            let extras = extras(args, &plan, console)?;
            tell(&told, (counts, extras), args.picture.as_deref(), console)
        }
    }
}

/// What is asked for beside the campaign.
fn extras(args: &Args, plan: &LearnRuns, console: &Console) -> Result<LearnExtras, Failure> {
    let signs = args.ablate.then(|| {
        let what = ("signs switched off in turn", "--ablate");
        args.job.beside(what, console, |watch| ablation(plan, watch), refused)
    });
    let two_faults = args.two_faults.map(|units| {
        let what = ("two faults at once", "--two-faults");
        args.job.beside(what, console, |watch| two_faults(plan, units, watch), refused)
    });
    Ok(LearnExtras { signs: signs.transpose()?.unwrap_or_default(), two_faults: two_faults.transpose()? })
}

/// Tells the result of a whole campaign.
///
/// # Errors
/// When the picture or standard output cannot be written.
pub(super) fn tell(
    told: &LearnTold,
    (counts, extras): (LearnCounts, LearnExtras),
    picture: Option<&Path>,
    console: &Console,
) -> VerbResult {
    let result = LearnCampaign::new((&told.actuator, told.seed, told.runs), counts.finish(), extras);
    if let Some(path) = picture {
        write_file(path, learn_picture::drawn(&result).as_bytes())?;
    }
    console.result(&text(&result, Fold::of_the_reader()), &result)?;
    Ok(if result.failures().is_empty() { Exit::Done } else { Exit::OutOfLimits })
}

fn refused(error: LearnCampaignError) -> Failure {
    match error {
        LearnCampaignError::Part(error) => refused_part(error),
        LearnCampaignError::Learn { .. } | LearnCampaignError::Pair { .. } => Failure::undetermined(error),
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
        format!(
            "{}, invented: {} simulated learns of each fault, seed {}; nothing moved",
            result.actuator, result.runs, result.seed
        ),
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
        String::new(),
        "must-reject faults that put a stop, or something before it, where it does not belong:".to_owned(),
        fold.table(&by_error(result)),
        String::new(),
    ];
    let sound =
        result.faults.iter().find(|fault| fault.tag == Tag::MustAccept).and_then(|fault| fault.seconds);
    lines.extend(sound.map(|times| {
        format!(
            "time to learn of sound units: median {:.2} s, 95 % within {:.2} s, longest {:.2} s",
            times.median, times.p95, times.max
        )
    }));
    lines.extend(result.two_faults.iter().flat_map(pairs));
    if !result.signs.is_empty() {
        lines.extend([String::new(), fold.table(&sign_rows(&result.signs)), String::new()]);
    }
    lines.extend(result.failures().iter().map(|failure| format!("NOT AS IT MUST BE: {failure}")));
    lines.push(verdict);
    lines.join("\n")
}

/// Units with two faults.
fn pairs(pairs: &PairTally) -> [String; 3] {
    let Endings { accepted, accepted_wrongly, not_proven, refused, refused_wrongly: _ } = pairs.endings;
    let (accepted, impossible) = (accepted + accepted_wrongly, pairs.impossible);
    [
        format!(
            "two faults at once: accepted {accepted}, not proven {not_proven}, refused {refused}; {impossible} pairs that \
             no unit can have"
        ),
        rate("wrongly accepted with two faults", &pairs.wrongly_accepted),
        format!(
            "stop off, signals sound, held back by an index mark or a gauge alone: {}",
            pairs.held_by_a_look
        ),
    ]
}

/// What it comes to, in a line.
fn verdict(result: &LearnCampaign) -> String {
    let of_faults: u64 = result.faults.iter().map(|fault| fault.wrongly_accepted).sum();
    let believed = of_faults + result.two_faults.as_ref().map_or(0, |pairs| pairs.wrongly_accepted.count);
    let counts =
        format!("{believed} wrong stops believed, {} sound units refused", result.wrongly_rejected.count);
    match result.failures().len() {
        0 => format!("AS IT MUST BE: {counts}"),
        failures => format!("NOT AS IT MUST BE: {counts}; findings: {failures}"),
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
    parts.extend(last_accepted(fault));
    parts.join("; ")
}

/// The severity below which every acceptance of a must-reject fault lies.
fn last_accepted(fault: &FaultTally) -> Option<String> {
    let step = fault.curves.by_severity.iter().rposition(|step| step.believed().count > 0)?;
    if fault.tag != Tag::MustReject {
        return None;
    }
    if step + 1 == SEVERITY_STEPS {
        return Some("some accepted at the worst severity".to_owned());
    }
    let severity = catalogue::find(&fault.name).ok()?.severity;
    let end = severity.at((step + 1) as f64 / SEVERITY_STEPS as f64);
    Some(format!("none accepted past {end:.3} {}", severity.unit))
}

/// Acceptance against the error of the stop that the ring meets first, head first.
fn by_error(result: &LearnCampaign) -> Vec<Vec<String>> {
    let head = ["off by, % of travel", "learns", "accepted", "exact 95 % bounds", "of these wrong"];
    let mut from = 0.0;
    let mut row = |(step, endings): (usize, &Endings)| {
        let rate = endings.believed();
        let range = match ERROR_STEP_ENDS.get(step) {
            Some(end) => format!("{:.1} to {:.1}", 100.0 * from, 100.0 * end),
            None => format!("over {:.1}", 100.0 * from),
        };
        from = ERROR_STEP_ENDS.get(step).copied().unwrap_or(from);
        let bounds = rate.bounds.map(|bound| format!("{:.2} %", 100.0 * bound)).join(" to ");
        let counts = [rate.of, rate.count].map(|count| count.to_string());
        let [of, count] = counts;
        vec![range, of, count, bounds, endings.accepted_wrongly.to_string()]
    };
    let rows: Vec<Vec<String>> = result.by_error.iter().enumerate().map(&mut row).collect();
    std::iter::once(head.map(str::to_owned).to_vec()).chain(rows).collect()
}

/// What is believed without each sign, head first.
fn sign_rows(signs: &[SignRow]) -> Vec<Vec<String>> {
    let head =
        ["switched off", "faulty", "accepted", "wrongly", "rises most for", "sound refused", "other reason"];
    let row = |row: &SignRow| {
        vec![
            row.without.to_owned(),
            row.faults.to_string(),
            row.accepted.to_string(),
            row.believed.to_string(),
            row.most.unwrap_or("").to_owned(),
            format!("{} of {}", row.refused, row.must_accept),
            row.other_reason.to_string(),
        ]
    };
    std::iter::once(head.map(str::to_owned).to_vec()).chain(signs.iter().map(row)).collect()
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
