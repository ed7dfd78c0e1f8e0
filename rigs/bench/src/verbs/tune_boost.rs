//! `tune boost`: the boost law's gains and map, searched over scenarios and engines that differ, judged on engines that
//! the search never saw.
//!
//! In: scenarios, old settings, a spread, seeds, limits. Out: old beside new on held-out engines and, where they are
//! better there and `--out` names a file, the settings that change. Nothing moves. Undetermined (exit code 3) when the new
//! settings are not better beyond chance, out of limits (1) when none that keep the limits were found; nothing is written then.

use std::collections::BTreeSet;
use std::path::PathBuf;

use study::boost_tuning::{
    BoostTuning, BoostTuningPlan, TunedScenario, TuningEnd, TuningLimits, TuningMeans, tune_boost,
};
use study::campaign::Next;

use super::simulate::{controller_or_built_in, scenario, spread};
use super::tune_boost_file::{changed, text as file_text, toml_of};
use crate::console::Console;
use crate::document::{BoostTuningDocument, TunedSetting};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::interrupt;
use crate::number::fixed;
use crate::output::{may_write, write_file};
use crate::progress::ProgressLine;
use crate::whole_number::whole;

/// What `tune boost` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Names of built-in scenarios or paths of TOML files; all count equally
    #[arg(required = true, value_name = "SCENARIO")]
    scenarios: Vec<String>,
    /// Old settings, a TOML file; without it, the built-in settings
    #[arg(long = "with", value_name = "CONTROLLER.toml")]
    with: Option<PathBuf>,
    /// How engines differ, a TOML file; without it, the built-in spread
    #[arg(long, value_name = "SPREAD.toml")]
    spread: Option<PathBuf>,
    /// Engines to tune on in each scenario; as many others judge
    #[arg(long, default_value_t = 8, allow_negative_numbers = true, value_parser = whole::<u64>(2..=1000))]
    engines: u64,
    /// Seed of the engines to tune on, and of the search
    #[arg(long, default_value_t = 1, allow_negative_numbers = true, value_parser = whole::<u64>(0..=u64::MAX))]
    seed: u64,
    /// Seed of the engines to judge on
    #[arg(long, default_value_t = 1_000_001, allow_negative_numbers = true, value_parser = whole::<u64>(0..=u64::MAX))]
    held_out_seed: u64,
    /// Generations of the search, 16 settings each
    #[arg(long, default_value_t = 40, allow_negative_numbers = true, value_parser = whole::<usize>(1..=10_000))]
    generations: usize,
    /// Mean overshoot allowed, % of the step; where the old settings overshoot more, as much as
    /// theirs
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, default_value_t = TuningLimits::default().overshoot_pct)]
    overshoot: f64,
    /// Travel of the vanes allowed, times that of the old settings
    #[arg(long, value_name = "TIMES", allow_negative_numbers = true, default_value_t = TuningLimits::default().travel)]
    travel: f64,
    /// Reversals of the vanes allowed, times those of the old settings
    #[arg(long, value_name = "TIMES", allow_negative_numbers = true, default_value_t = TuningLimits::default().reversals)]
    reversals: f64,
    /// Write the changed settings to this file, TOML, each with its old value; only where they are
    /// better
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Limits that make sense, for each option.
const ALLOWED: core::ops::RangeInclusive<f64> = 0.0..=1000.0;

/// Searches, judges, writes.
///
/// # Errors
/// A [`Failure`] that names file and field; an interrupted search ends with 130.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let plan = plan(args)?;
    if let Some(path) = &args.out {
        may_write(path)?;
    }
    let found = search(&plan, console)?;
    let settings = changed(&plan.settings, &found.settings)?;
    let written = match (&args.out, found.end) {
        (Some(path), TuningEnd::Better) => {
            write_file(path, file_text(&origin(&plan), plan.settings.target.law, &settings).as_bytes())?;
            Some(path.clone())
        }
        (Some(_) | None, _) => None,
    };
    let told = document(&plan, &found, settings, written);
    console.result(&text(&plan, &told, Fold::of_the_reader()), &told)?;
    Ok(match found.end {
        TuningEnd::Better => Exit::Done,
        TuningEnd::NoBetter => Exit::Undetermined,
        TuningEnd::LimitExceeded | TuningEnd::NothingWithinLimits => Exit::OutOfLimits,
    })
}

fn plan(args: &Args) -> Result<BoostTuningPlan, Failure> {
    for (option, value) in
        [("--overshoot", args.overshoot), ("--travel", args.travel), ("--reversals", args.reversals)]
    {
        if !ALLOWED.contains(&value) {
            return Err(Failure::usage(format!("{option} {value}: allowed 0 to 1000. Nothing was run.")));
        }
    }
    if args.seed == args.held_out_seed {
        return Err(Failure::usage(format!(
            "--held-out-seed {} is the seed of the engines to tune on, which must not judge; give another. \
             Nothing was run.",
            args.held_out_seed
        )));
    }
    let scenarios: Result<Vec<_>, Failure> = args.scenarios.iter().map(|name| scenario(name)).collect();
    let scenarios = scenarios?;
    let mut seen = BTreeSet::new();
    if let Some(twice) = scenarios.iter().find(|scenario| !seen.insert(&scenario.name)) {
        let name = &twice.name;
        return Err(Failure::usage(format!(
            "scenario {name} is given twice; give each once. Nothing was run."
        )));
    }
    let spread = spread(args.spread.as_ref())?;
    spread.validate().map_err(Failure::usage)?;
    Ok(BoostTuningPlan {
        scenarios,
        settings: controller_or_built_in(args.with.as_deref())?,
        spread,
        engines: args.engines,
        seed: args.seed,
        held_out_seed: args.held_out_seed,
        generations: args.generations,
        limits: TuningLimits {
            overshoot_pct: args.overshoot,
            travel: args.travel,
            reversals: args.reversals,
        },
    })
}

fn search(plan: &BoostTuningPlan, console: &Console) -> Result<BoostTuning, Failure> {
    let shown = ProgressLine::begin(console, "tune boost");
    let _watch = interrupt::watch();
    let found = tune_boost(plan, |progress| {
        shown.set(progress.done, progress.wanted);
        if interrupt::asked() { Next::Stop } else { Next::GoOn }
    });
    drop(shown);
    found.ok_or_else(|| Failure::interrupted("interrupted; none of the search is kept"))
}

fn names(plan: &BoostTuningPlan) -> String {
    plan.scenarios.iter().map(|scenario| scenario.name.as_str()).collect::<Vec<_>>().join(", ")
}

/// Where a file's settings came from.
fn origin(plan: &BoostTuningPlan) -> String {
    format!(
        "over {}: {} engines of seed {} tuned on, {} of seed {} judged on",
        names(plan),
        plan.engines,
        plan.seed,
        plan.engines,
        plan.held_out_seed
    )
}

fn document(
    plan: &BoostTuningPlan,
    found: &BoostTuning,
    settings: Vec<TunedSetting>,
    written: Option<PathBuf>,
) -> BoostTuningDocument {
    BoostTuningDocument {
        end: found.end,
        change: found.change,
        engines: plan.engines,
        seed: plan.seed,
        held_out_seed: plan.held_out_seed,
        limits: plan.limits,
        tuned_on: found.tuned_on.clone(),
        held_out: found.held_out.clone(),
        settings,
        written,
    }
}

/// What it comes to, in a line.
fn verdict(told: &BoostTuningDocument) -> String {
    let change = format!(
        "boost error {:+.1} % ± {:.1} % on held-out engines (95 %)",
        100.0 * told.change.mean,
        100.0 * told.change.half_width
    );
    match told.end {
        TuningEnd::Better => format!("BETTER: {change}, within every limit"),
        TuningEnd::NoBetter => format!("NO BETTER: {change}; nothing is written"),
        TuningEnd::LimitExceeded => {
            format!("OUT OF LIMITS: {change}, but {}; nothing is written", furthest_over(told))
        }
        TuningEnd::NothingWithinLimits => {
            "OUT OF LIMITS: no settings that were tried keep the limits; nothing is written. Allow more \
             overshoot, travel or reversals"
                .to_owned()
        }
    }
}

/// The limit that is exceeded furthest on held-out engines, in words.
fn furthest_over(told: &BoostTuningDocument) -> String {
    let of_side = |side: &TunedScenario| {
        side.new.beside_limits(&side.old, &told.limits).map(|mean| (side.scenario.clone(), mean))
    };
    let all = told.held_out.iter().flat_map(of_side);
    all.max_by(|(_, a), (_, b)| a.excess().total_cmp(&b.excess())).map_or_else(String::new, |(name, mean)| {
        format!("{} in {name}: {}, allowed {}", mean.what, fixed(mean.reached, 2), fixed(mean.allowed, 2))
    })
}

fn text(plan: &BoostTuningPlan, told: &BoostTuningDocument, fold: Fold) -> String {
    let verdict = verdict(told);
    let TuningLimits { overshoot_pct, travel, reversals } = told.limits;
    let mut lines = vec![
        verdict.clone(),
        format!("law {}, {}; simulated, nothing moved", plan.settings.target.law.word(), origin(plan)),
        format!(
            "limits: mean overshoot {overshoot_pct} %, travel {travel} and reversals {reversals} times those of the old settings"
        ),
    ];
    for (kind, sides) in [("tuned on", &told.tuned_on), ("held out", &told.held_out)] {
        for side in sides {
            lines.extend([String::new(), fold.table(&side_rows(kind, side))]);
        }
    }
    lines.push(String::new());
    for setting in &told.settings {
        lines.extend(setting_lines(setting));
    }
    lines.extend(told.written.iter().map(|path| format!("written: {}", path.display())));
    lines.push(verdict);
    lines.join("\n")
}

/// A setting's old and new value; of a map each row.
fn setting_lines(TunedSetting { table, field, old, new }: &TunedSetting) -> Vec<String> {
    match (old.as_array(), new.as_array()) {
        (Some(olds), Some(news)) => std::iter::once(format!("  {table}.{field}, old then new"))
            .chain(
                olds.iter().zip(news).map(|(old, new)| format!("    {} then {}", toml_of(old), toml_of(new))),
            )
            .collect(),
        (_, _) => vec![format!("  {table}.{field}: {} then {}", toml_of(old), toml_of(new))],
    }
}

/// Old beside new in one scenario, head first.
fn side_rows(kind: &str, side: &TunedScenario) -> Vec<Vec<String>> {
    let some =
        |value: Option<f64>, digits| value.map_or_else(|| "–".to_owned(), |value| fixed(value, digits));
    let row = |name: &str, cell: &dyn Fn(&TuningMeans) -> String| {
        vec![name.to_owned(), cell(&side.old), cell(&side.new)]
    };
    vec![
        vec![format!("{}, {kind}", side.scenario), "old".to_owned(), "new".to_owned()],
        row("boost IAE, kPa s", &|m| fixed(m.boost_iae_kpa_s, 1)),
        row("time to boost, s", &|m| some(m.time_to_boost_s, 2)),
        row("overshoot, %", &|m| some(m.overshoot_pct, 1)),
        row("travel, strokes", &|m| fixed(m.travel_strokes, 2)),
        row("reversals, -", &|m| fixed(m.reversals, 1)),
        row("pumping pressure, kPa", &|m| fixed(m.pumping_kpa, 1)),
        row("runs out of limits, %", &|m| fixed(100.0 * m.bad_runs, 0)),
    ]
}
