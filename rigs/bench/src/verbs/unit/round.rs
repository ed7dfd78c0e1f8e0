//! Rounds of a unit's life: each learn with the runs that were made on it, and the figures that were kept of them.

use crate::document::{RoundFigure, RoundRow};
use crate::figures::{Measure, Sensor, StepSize, Stop};
use crate::fold::Fold;
use crate::judge::StoredVerdict;
use crate::limits::LimitStanding;
use crate::record::{RunHead, RunKind};

/// What is followed over a unit's life, with the head of its column and its unit.
fn followed() -> Vec<(String, &'static str)> {
    let mut measures = vec![
        (Measure::Span, "span, counts"),
        (Measure::StopPosition(Stop::Closed), "closed stop"),
        (Measure::StopPosition(Stop::Open), "open stop"),
        (Measure::FrictionLargest, "friction, A"),
        (Measure::Hysteresis(Sensor::Own), "hysteresis, %"),
        (Measure::DeadBand, "dead band, %"),
    ];
    measures.extend(StepSize::try_from_percent(10.0).map(|size| (Measure::T86(size), "T86 at 10 %, ms")));
    measures.into_iter().map(|(measure, head)| (measure.definition().key, head)).collect()
}

/// The rounds, oldest first; runs before the first learn belong to none.
pub(super) fn rounds(heads: &[&RunHead]) -> Vec<RoundRow> {
    let keys: Vec<String> = followed().into_iter().map(|(key, _)| key).collect();
    let mut rounds: Vec<RoundRow> = Vec::new();
    for head in heads {
        if head.name.kind == RunKind::Learn {
            let (learn, job) = (head.name.to_string(), head.file.job());
            rounds.push(RoundRow { learn, job, figures: Vec::new() });
        }
        let Some((round, stored)) = rounds.last_mut().zip(StoredVerdict::in_folder(&head.dir)) else {
            continue;
        };
        for key in &keys {
            let Some(figure) = stored.farthest(key) else { continue };
            let check = stored.worst(key);
            // A part that was repeated counts with its newest run.
            round.figures.retain(|known| known.key != *key);
            round.figures.push(RoundFigure {
                key: key.clone(),
                value: figure.value,
                text: figure.text.clone(),
                bounds: check.map(|check| check.bounds),
                standing: check.map(|check| check.standing),
            });
        }
    }
    rounds
}

/// A row for each round, a column for each figure, and what is allowed.
pub(super) fn table(rounds: &[RoundRow], fold: Fold) -> String {
    let followed = followed();
    let heads = ["learn", "job"].into_iter().chain(followed.iter().map(|(_, head)| *head));
    let mut rows = vec![heads.map(str::to_owned).collect::<Vec<_>>()];
    rows.extend(rounds.iter().map(|round| {
        let learn = round.learn.split('-').next().unwrap_or_default().to_owned();
        let cells = followed.iter().map(|(key, _)| {
            let figure = round.figures.iter().find(|figure| figure.key == *key);
            figure
                .map_or_else(|| "–".to_owned(), |figure| format!("{}{}", figure.text, mark(figure.standing)))
        });
        [learn, round.job.clone().unwrap_or_else(|| "–".into())].into_iter().chain(cells).collect()
    }));
    let newest = |key: &str| {
        rounds.iter().rev().find_map(|round| round.figures.iter().find(|figure| figure.key == key)?.bounds)
    };
    let allowed: Vec<String> = followed
        .iter()
        .filter_map(|(key, head)| Some(format!("{head}: {}", newest(key)?.text("").trim_end())))
        .collect();
    let allowed = if allowed.is_empty() { "no limit was asked about".to_owned() } else { allowed.join("; ") };
    let note = format!("Allowed: {allowed}. ! out of limits, ? too close to tell, – not saved.");
    format!("{}\n{}", fold.table(&rows), fold.paragraph(&note))
}

fn mark(standing: Option<LimitStanding>) -> &'static str {
    match standing {
        None | Some(LimitStanding::Inside) => "",
        Some(LimitStanding::TooClose) => "?",
        Some(LimitStanding::Outside) => "!",
    }
}
