//! The best found with foresight beside the runs of `simulate`, and the picture of what each run trades.
//!
//! In: what is run, how hard to search. Out: a run more, how far it may be trusted, and what other gains of the
//! first controller's law reach. Refuses scenarios that are not boost control all through.

use study::boost_tuning::trade_off;
use study::campaign::{Next, Progress};
use study::foresight::{Foresight, ForesightError, ForesightOrder, ForesightRun, best_with_foresight};
use study::run::RunError;

use super::setup::RunParts;
use super::{INKS, ShownRun};
use crate::console::Console;
use crate::document::ForesightTold;
use crate::exit::Failure;
use crate::interrupt;
use crate::progress::ProgressLine;
use crate::report::{Axis, Chart, Ink};

/// Name in tables and files.
const NAME: &str = "best-found";
/// Name on the page.
const LABEL: &str = "best found with foresight";

/// What the search found, to be shown beside the runs.
pub(super) struct BestFound {
    found: Foresight,
    told: ForesightTold,
}

/// Searches on the engine and under the settings of the first of the runs.
pub(super) fn search(
    setups: &[RunParts],
    generations: usize,
    console: &Console,
) -> Result<BestFound, Failure> {
    let [first, ..] = setups else { return Err(Failure::usage("no run to search beside")) };
    let order = ForesightOrder::usual(generations, first.noise_seed);
    let shown = ProgressLine::begin(console, LABEL);
    let _watch = interrupt::watch();
    let watch = |Progress { done, wanted }| {
        shown.set(done, wanted);
        if interrupt::asked() { Next::Stop } else { Next::GoOn }
    };
    let run =
        ForesightRun { scenario: &first.scenario, world: &first.scenario.world, settings: &first.settings };
    let found = best_with_foresight(&run, &order, watch).map_err(refused)?;
    let line = trade_off((&first.scenario, &first.settings), first.noise_seed, generations, watch)
        .ok_or_else(|| refused(ForesightError::Stopped))?;
    let told = ForesightTold {
        start_gap: found.start_gap(),
        grid_gap: found.grid_gap(),
        knots: found.knots.clone(),
        costs_kpa_s: found.costs.clone(),
        runs: order.runs(),
        schedule: found.schedule.clone(),
        trade_off: line,
    };
    Ok(BestFound { found, told })
}

fn refused(error: ForesightError) -> Failure {
    match error {
        ForesightError::Run(RunError::World(_) | RunError::Settings(_)) | ForesightError::OtherUse(_) => {
            Failure::usage(format!("--foresight: {error}. Nothing was written. Leave out --foresight."))
        }
        ForesightError::Run(RunError::Start(_) | RunError::Diverged(_))
        | ForesightError::NoneWithinLimits => {
            Failure::undetermined(format!("--foresight: {error}. Nothing was written."))
        }
        ForesightError::Stopped => {
            Failure::interrupted("interrupted; nothing of the search is kept. Leave out --foresight.")
        }
    }
}

impl BestFound {
    /// Puts its run behind the others.
    pub(super) fn shown_beside(self, shown: &mut Vec<ShownRun>) -> ForesightTold {
        shown.push(ShownRun {
            name: NAME.to_owned(),
            label: LABEL.to_owned(),
            controller: LABEL.to_owned(),
            parts: shown.first().and_then(|first| first.parts.clone()),
            outcome: self.found.outcome,
        });
        self.told
    }
}

/// How far it may be trusted, in a line.
pub(super) fn how_far(told: &ForesightTold) -> String {
    let percent =
        |gap: Option<f64>| gap.map_or_else(|| "–".to_owned(), |gap| format!("{:.1} %", 100.0 * gap));
    let knots: Vec<String> = told.knots.iter().map(ToString::to_string).collect();
    format!(
        "{NAME} is the best found with foresight, no proven bound: the second best start costs {} more, the coarser grid {} \
         more ({} knots, {} runs)",
        percent(told.start_gap),
        percent(told.grid_gap),
        knots.join(" then "),
        told.runs
    )
}

/// Boost error of each run against the travel that it took.
pub(super) fn picture(shown: &[ShownRun], told: Option<&ForesightTold>) -> Chart {
    let chart = Chart::new(
        "Boost error against travel",
        Axis::with_zero("travel of the vanes, strokes"),
        Axis::with_zero("boost IAE, kPa s"),
    );
    let line = |told: &ForesightTold| {
        told.trade_off.iter().map(|point| (point.travel_strokes, point.boost_iae_kpa_s)).collect()
    };
    let chart = match told {
        Some(told) => {
            chart.line("other gains of the first controller's law, by search", Ink::Command, line(told))
        }
        None => chart,
    };
    shown.iter().zip(INKS.iter().cycle()).fold(chart, |chart, (run, ink)| {
        let metrics = &run.outcome.metrics;
        chart.dots(&run.label, *ink, vec![(metrics.travel_strokes, metrics.boost_iae_kpa_s)])
    })
}
