//! The pages of a unit's report that are handed over: pictures that say why, what the verdict rests on, who signs.
//!
//! In: a [`UnitResult`]. Out: sections. The pictures stand again in the detail after them.

use super::chart::Chart;
use super::lever::LeverTravel;
use super::section::{Section, Table};
use super::{bench, diagnostic, friction::FrictionShown};
use crate::evaluate::{Exhibit, UnitResult, step_bands};
use crate::figures::Measure;
use crate::figures::motion::Reversal;
use crate::figures::step::{StepResponse, StepTrace};
use crate::judge::CountedRun;
use crate::limits::Limits;
use crate::profile::Profile;

/// Charts on it: more do not fit beside the rest.
const MOST_PICTURES: usize = 4;
/// What is shown of a unit that gives no reason to show anything else, in this order.
const USUAL: [&str; 4] = ["learn", "loop", "friction", "step_50"];

/// A chart with the figures that it shows, by the first word of their keys.
type Shows = (String, Chart);

impl UnitResult {
    /// What is handed over. `log` says how long the unit's log is.
    pub(super) fn front(
        &self,
        profile: &Profile,
        limits: &Limits,
        lever: LeverTravel,
        log: Option<Section>,
    ) -> Vec<Section> {
        let pictures = self.pictures(profile, limits, lever);
        let shown = (!pictures.is_empty()).then(|| Section::new("Pictures that say why").charts(pictures));
        let evidence = self.verdict.counted.iter().fold(
            Table::new(&["run", "evidence, SHA-256", "log"]),
            |table, CountedRun { run, evidence: hash, kept }| {
                table.row([run, &hash.to_string(), kept.word()])
            },
        );
        let rests_on = Section::new("What the verdict rests on").table(evidence);
        shown.into_iter().chain([rests_on]).chain(log).collect()
    }

    /// The charts of what the verdict gives as reasons, then the usual ones.
    fn pictures(&self, profile: &Profile, limits: &Limits, lever: LeverTravel) -> Vec<Chart> {
        let exhibits = self.runs.iter().filter_map(|(_, shown)| shown.exhibit.as_ref());
        let mut charts: Vec<Shows> =
            exhibits.flat_map(|one| charts_of(one, profile, limits, lever)).collect();
        let blamed =
            self.verdict.reasons.iter().map(|reason| reason.code.split('.').next().unwrap_or_default());
        let order: Vec<&str> = blamed.chain(USUAL).collect();
        charts.sort_by_key(|(shows, _)| order.iter().position(|one| one == shows).unwrap_or(order.len()));
        charts.truncate(MOST_PICTURES);
        charts.into_iter().map(|(_, chart)| chart.half()).collect()
    }
}

fn charts_of(exhibit: &Exhibit, profile: &Profile, limits: &Limits, lever: LeverTravel) -> Vec<Shows> {
    let one = |shows: &str, chart| vec![(shows.to_owned(), chart)];
    match exhibit {
        Exhibit::Learn(trace) => one("learn", bench::learned(trace)),
        Exhibit::Diagnostic(picture) => one("diagnostic-only", diagnostic::chart(picture)),
        Exhibit::Sweep { table, reversals, holes } => {
            let deviation = bench::deviation(table, lever).holes(holes.iter().copied());
            let widest = reversals.iter().max_by(|a, b| width(a).total_cmp(&width(b)));
            let turned = widest.map(|widest| ("motion".to_owned(), bench::reversal(widest, lever)));
            one("loop", deviation).into_iter().chain(turned).collect()
        }
        Exhibit::SweepInPart(part) => one("loop", bench::part_deviation(part, lever)),
        Exhibit::Friction { current, duty, holes } => {
            let limit = limits.of(Measure::FrictionLargest).and_then(|bounds| bounds.max);
            one("friction", FrictionShown { current, duty, holes, limit, lever }.along_the_travel())
        }
        Exhibit::Steps(steps) => {
            let shown = slowest_of_each_size(steps).into_iter().map(|(trace, response)| {
                let key = format!("step_{}", response.size.percent());
                (key, bench::step(trace, response, step_bands(profile), lever))
            });
            shown.collect()
        }
        Exhibit::Boost(trace) => one("boost", bench::simulated_boost(trace)),
    }
}

fn slowest_of_each_size(steps: &[(StepTrace, StepResponse)]) -> Vec<&(StepTrace, StepResponse)> {
    let mut slowest: Vec<&(StepTrace, StepResponse)> = Vec::new();
    for step in steps {
        match slowest.iter_mut().find(|kept| kept.1.size == step.1.size) {
            Some(kept) if step.1.t86_s > kept.1.t86_s => *kept = step,
            Some(_) => {}
            None => slowest.push(step),
        }
    }
    slowest
}

fn width(reversal: &Reversal) -> f64 {
    reversal.dead_bands.iter().copied().fold(0.0, f64::max)
}
