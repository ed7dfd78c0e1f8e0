//! `profile limits`: acceptance limits and stop windows from good units. Nothing moves.
//!
//! In: folders of units that a person gauged. Out: for each figure a tolerance interval, the scatter between units apart
//! from that of re-mounting, and with `--out` a limits file. A unit that nobody gauged, or whose gauge does not read
//! inside by more than it is uncertain, is not counted, and is named.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::profile_limits_file::file_text;
use super::unit::name_of;
use crate::console::Console;
use crate::criteria::{profile, recorded_on, same_profile};
use crate::document::LimitsDocument;
use crate::evaluate::{DraftedLimit, GoodGauge, IntervalMethod, SameGround, figures_of};
use crate::exit::{Exit, Failure, VerbResult};
use crate::figures::GaugedIn;
use crate::figures::tolerance::{IntervalDemand, Sides};
use crate::fold::Fold;
use crate::limits::Limits;
use crate::number::{number, percent};
use crate::output::write_file;
use crate::profile::Profile;
use crate::record::Run;
use crate::unit_result::Records;
use plant::toml_file::TomlFile;

/// What `profile limits` takes.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folders of good units, such as units/NAME; units that were re-mounted and measured again
    /// show what re-mounting adds
    #[arg(long = "from", value_name = "UNIT_DIR", required = true, num_args = 1..)]
    from: Vec<PathBuf>,
    /// Range that a good unit's minimum-flow stop may gauge: "1.10 to 1.30 mm", or kg/h; `unit
    /// confirm --gauged` records each reading
    #[arg(long, value_name = "RANGE", value_parser = gauge)]
    gauge: GoodGauge,
    /// Share of all such units that a limit must hold, %, 50 to 99.9
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0, value_parser = share)]
    content: f64,
    /// Confidence in that share, %, 50 to 99.9
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0, value_parser = share)]
    confidence: f64,
    /// How an interval is drawn
    #[arg(long, value_enum, default_value_t = IntervalMethod::Normal)]
    method: IntervalMethod,
    /// Profile of the units, TOML [default: the built-in one of their runs]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Write the limits here, TOML
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

fn share(word: &str) -> Result<f64, String> {
    let number = word.parse().ok().filter(|number| (50.0..=99.9).contains(number));
    number.ok_or_else(|| "allowed: 50 to 99.9".to_owned())
}

fn gauge(words: &str) -> Result<GoodGauge, String> {
    let allowed = || {
        "allowed: two numbers above 0, the smaller first, with their unit, \"1.10 to 1.30 mm\" or kg/h"
            .to_owned()
    };
    let units = [GaugedIn::Millimetres, GaugedIn::KilogramsPerHour];
    let found = units.into_iter().find_map(|unit| Some((words.trim().strip_suffix(unit.unit())?, unit)));
    let (range, unit) = found.ok_or_else(allowed)?;
    let (min, max) = range.split_once(" to ").ok_or_else(allowed)?;
    let number =
        |word: &str| word.trim().parse::<f64>().ok().filter(|number| *number > 0.0 && number.is_finite());
    match (number(min), number(max)) {
        (Some(min), Some(max)) if min < max => Ok(GoodGauge { min, max, unit }),
        (Some(_), Some(_)) | (Some(_), None) | (None, Some(_)) | (None, None) => Err(allowed()),
    }
}

/// Reads the units, draws the limits, writes them where asked.
///
/// # Errors
/// When a record cannot be relied on, units were measured under different profiles, or too few are good.
pub(super) fn run(args: &Args, console: &Console) -> VerbResult {
    let (names, units, left_out) = good_ones(args)?;
    let profile = common_profile(args.profile.as_deref(), &units)?;
    let ground = SameGround::of(&units)
        .ok_or_else(|| Failure::undetermined("none of the units has a learn on record. Learn first"))?;
    let demand = IntervalDemand { content: args.content / 100.0, confidence: args.confidence / 100.0 };
    let (figures, runs_left_out) = figures_of(&units, ground, &profile);
    let mut document = LimitsDocument {
        profile: profile.name.clone(),
        mounted: format!("{}, {}", ground.setup, ground.warmth),
        gauge: args.gauge.to_string(),
        units: names,
        left_out,
        runs_left_out,
        content_percent: args.content,
        confidence_percent: args.confidence,
        method: args.method,
        distribution_free_units: demand.distribution_free_units(Sides::Two),
        limits: figures.iter().map(|figure| DraftedLimit::of(figure, demand, args.method)).collect(),
        written: None,
    };
    let is_any = document.limits.iter().any(|limit| limit.bounds.is_some());
    if let Some(path) = args.out.as_deref().filter(|_| is_any) {
        let text = file_text(&document, &units, ground, &profile);
        Limits::read(&TomlFile::from_text("limits.toml", &text)).map_err(Failure::undetermined)?;
        write_file(path, text.as_bytes())?;
        document.written = Some(path.to_owned());
    }
    console.result(&text(&document, demand, Fold::of_the_reader()), &document)?;
    Ok(if is_any { Exit::Done } else { Exit::Undetermined })
}

/// Names and runs of the units that are good, and a line on each of the others.
type GoodOnes = (Vec<String>, Vec<Vec<Run>>, Vec<String>);

fn good_ones(args: &Args) -> Result<GoodOnes, Failure> {
    let (mut names, mut units, mut left_out) = (Vec::new(), Vec::new(), Vec::new());
    let mut seen = BTreeSet::new();
    for dir in &args.from {
        let (unit, runs) = own_runs(dir)?;
        if !seen.insert(unit.clone()) {
            return Err(Failure::usage(format!(
                "--from names the unit {unit} twice, so it would count as two. Name it once"
            )));
        }
        match args.gauge.passes(&runs) {
            Ok(()) => {
                names.push(unit);
                units.push(runs);
            }
            Err(why) => left_out.push(format!("{unit}: {why}")),
        }
    }
    if units.len() < 2 {
        let listed: String = left_out.iter().map(|line| format!("\n  {line}")).collect();
        return Err(Failure::undetermined(format!(
            "{} good units: a spread needs at least two. Nothing was written.{listed}",
            units.len()
        )));
    }
    Ok((names, units, left_out))
}

/// The unit that a folder is named after, and its runs that its log vouches for.
fn own_runs(dir: &Path) -> Result<(String, Vec<Run>), Failure> {
    let unit = name_of(dir)?;
    let Records { mut runs, checked } = Records::read(dir)?;
    runs.retain(|run| run.file.run.unit == unit && checked.vouches_for(run.name));
    Ok((unit, runs))
}

/// The profile that all runs were made under.
fn common_profile(path: Option<&Path>, units: &[Vec<Run>]) -> Result<Profile, Failure> {
    let profile = profile(path, recorded_on(units.first().map_or(&[], Vec::as_slice)))?;
    units.iter().try_for_each(|runs| same_profile(runs, &profile))?;
    Ok(profile)
}

/// The answer, what it rests on, every figure, the answer once more.
fn text(document: &LimitsDocument, demand: IntervalDemand, fold: Fold) -> String {
    let drawn = document.limits.iter().filter(|limit| limit.bounds.is_some()).count();
    let count = document.units.len();
    let answer = match drawn {
        0 => format!("NO LIMITS: {count} good units support none"),
        some => format!(
            "{some} limits from {count} good units: {} % of all such units, {} % confidence",
            document.content_percent, document.confidence_percent
        ),
    };
    let mut lines = vec![answer.clone()];
    lines.push(format!("  measured {}, gauged {}", document.mounted, document.gauge));
    lines.extend(document.left_out.iter().map(|line| format!("  not counted: {line}")));
    if document.runs_left_out > 0 {
        let some = document.runs_left_out;
        lines.push(format!(
            "  not counted: {some} runs in another setup, under other settings, cut short, refused, \
             relearned or unproven"
        ));
    }
    lines.push(format!("  {}", rests_on(document, demand)));
    if document.limits.iter().all(|limit| limit.re_mounting.is_none()) {
        lines.push(
            "  no unit was measured twice, so the spread includes what re-mounting adds, and no \
             uncertainty is stated. Re-mount one unit, learn and measure again"
                .to_owned(),
        );
    }
    lines.extend([String::new(), fold.table(&rows(document)), String::new()]);
    let none = document.limits.iter().filter_map(|limit| Some((limit, limit.why_none.as_ref()?)));
    lines.extend(none.map(|(limit, why)| format!("  no limit on {}: {why}", limit.name)));
    lines.extend(document.written.iter().map(|path| format!("written: {}", path.display())));
    lines.push(answer);
    lines.join("\n")
}

/// What is assumed, and what would be needed without it.
fn rests_on(document: &LimitsDocument, demand: IntervalDemand) -> String {
    let (count, needed) = (document.units.len(), document.distribution_free_units);
    let held = 100.0 * demand.distribution_free_content(count, Sides::Two);
    let bare = format!(
        "the smallest and largest of {count} units hold {held:.1} % of all; a limit on both sides needs {needed} units"
    );
    match document.method {
        IntervalMethod::Normal => {
            format!("a normal spread is assumed, which {count} units do not prove; without it, {bare}")
        }
        IntervalMethod::DistributionFree => format!("no spread is assumed: {bare}"),
    }
}

fn rows(document: &LimitsDocument) -> Vec<Vec<String>> {
    let head = ["figure", "mean", "between", "re-mounted", "k", "limit", "±", "not accepted"];
    let row = |limit: &DraftedLimit| {
        let bounds = limit.bounds.as_ref();
        let or_none = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), number);
        vec![
            limit.name.clone(),
            number(limit.mean),
            number(limit.between_units),
            or_none(limit.re_mounting),
            or_none(limit.factor),
            bounds.map_or_else(|| "none".to_owned(), |bounds| bounds.text(&limit.unit)),
            or_none(limit.expanded_uncertainty),
            limit.producer_risk_percent.map_or_else(|| "–".to_owned(), percent),
        ]
    };
    std::iter::once(head.map(str::to_owned).to_vec()).chain(document.limits.iter().map(row)).collect()
}
