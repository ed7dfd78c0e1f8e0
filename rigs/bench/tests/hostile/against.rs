//! A run on a hostile line held against the clean run of the same unit and seed.

use super::runs::{Figure, Ran, Verb, Verdict, altered, first_tick, last_tick, unmarked};

/// A figure that is further from the clean run's is another figure: 5 % of it, and what the 1 ms grid alone makes.
const FIGURE_OFF: f64 = 0.05;
/// The same where a motion was made once more: noise and rest are others, a hole makes twice the time and more.
const FIGURE_OFF_MADE_AGAIN: f64 = 0.3;
/// What the grid makes, in the figure's unit.
const FIGURE_GRID: f64 = 1.5;

/// What one run shows beside the clean one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    Same,
    Undetermined,
    WrongAcceptance,
    WrongRefusal,
    Other,
}

/// What a run shows, and why where it is no good.
pub fn against(verb: Verb, clean: &Ran, ran: &Ran) -> (Against, Option<String>) {
    let wrong = |against, why: &str| (against, Some(why.to_owned()));
    match (clean.verdict, ran.verdict) {
        (_, Verdict::Broken) => wrong(Against::Other, "neither an exit code of its own nor an end"),
        (_, Verdict::Undetermined) if judged_although_cut(ran) => {
            wrong(Against::Other, "a cut run was judged")
        }
        (Verdict::Undetermined, Verdict::Undetermined) if clean.outcome == ran.outcome => {
            (Against::Same, None)
        }
        (_, Verdict::Undetermined) => (Against::Undetermined, None),
        (Verdict::Refused | Verdict::Undetermined, Verdict::Accepted) => {
            wrong(Against::WrongAcceptance, "accepted")
        }
        (Verdict::Accepted | Verdict::Undetermined, Verdict::Refused) => {
            wrong(Against::WrongRefusal, "refused")
        }
        (Verdict::Accepted, Verdict::Accepted) if verb != Verb::Learn => judged_against(clean, ran),
        _ if clean.outcome == ran.outcome => (Against::Same, None),
        (_, Verdict::Accepted) => wrong(Against::WrongAcceptance, "accepted with another calibration"),
        _ => wrong(Against::Other, "refused for another reason"),
    }
}

/// A run that ended undetermined must not be judged as if it were whole.
fn judged_although_cut(ran: &Ran) -> bool {
    ran.judged.is_some_and(|judged| judged.iter().any(|verdict| *verdict != Verdict::Undetermined))
}

fn judged_against(clean: &Ran, ran: &Ran) -> (Against, Option<String>) {
    if let Some(off) = ran.figures.iter().find_map(|figure| off(figure, clean, ran)) {
        return (Against::Other, Some(off));
    }
    match ran.judged {
        Some([Verdict::Accepted, Verdict::Refused]) => (Against::Same, None),
        Some([Verdict::Refused, _]) => (Against::WrongRefusal, Some("met limits are judged unmet".into())),
        Some([_, Verdict::Accepted]) => {
            (Against::WrongAcceptance, Some("unmet limits are judged met".into()))
        }
        Some([Verdict::Accepted | Verdict::Undetermined, Verdict::Refused | Verdict::Undetermined]) => {
            (Against::Undetermined, None)
        }
        None | Some(_) => (Against::Other, Some("recorded, and cannot be judged".into())),
    }
}

/// Says so when a figure differs from all of its kind and place in the clean run.
fn off(figure: &Figure, clean: &Ran, ran: &Ran) -> Option<String> {
    let relative = if made_again(clean, ran) { FIGURE_OFF_MADE_AGAIN } else { FIGURE_OFF };
    let near = |value: f64| (value - figure.value).abs() <= FIGURE_GRID.max(relative * value.abs());
    let mut same_kind = clean.figures.iter().filter(|one| one.key == figure.key).peekable();
    same_kind.peek()?;
    let is_off = !same_kind.any(|one| near(one.value));
    is_off.then(|| format!("{} {} is {}, another in the clean run", figure.key, figure.place, figure.value))
}

/// True where the tool has made a motion once more: from there on its ticks are not the clean run's.
fn made_again(clean: &Ran, ran: &Ran) -> bool {
    last_tick(&ran.rows) > last_tick(&clean.rows)
}

/// What is wrong with a record: a hole without a mark, or a sample that was never sent.
pub fn hole(clean: &Ran, ran: &Ran) -> Option<String> {
    let start = first_tick(&clean.rows)?;
    let hole = unmarked(&ran.rows, start);
    let is_short = ran.verdict == Verdict::Accepted && last_tick(&ran.rows) < last_tick(&clean.rows);
    hole.or_else(|| is_short.then(|| format!("ends at {:?}", last_tick(&ran.rows))))
        .or_else(|| if made_again(clean, ran) { None } else { altered(&ran.rows, &clean.rows) })
}
