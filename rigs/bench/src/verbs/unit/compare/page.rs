//! The page of a comparison: figures side by side, then the runs of both drawn over one another.

use super::side::ComparedUnit;
use super::{answer, matters, row};
use crate::caution::CAUTIONS;
use crate::document::{CompareDocument, ComparedFigure, ComparedSide};
use crate::evaluate::Exhibit;
use crate::figures::friction::FrictionCurve;
use crate::figures::step::{StepResponse, StepTrace};
use crate::figures::sweep::SweepTable;
use crate::report::{Axis, Chart, Ink, Report, Section, Table};

/// A full, dark line and a second, lighter one; the legend names them.
const INKS: [Ink; 2] = [Ink::Main, Ink::Closing];
const TRAVEL: &str = "opening, % of travel";

type Points = Vec<(f64, f64)>;

/// The page.
pub(super) fn report(a: &ComparedUnit, b: &ComparedUnit, told: &CompareDocument) -> Report {
    let sides = [a, b];
    let table = |wanted: &dyn Fn(&ComparedFigure) -> bool| {
        let table = Table::new(&["figure", "A", "B", "change", "unit", "weighed"]);
        told.figures
            .iter()
            .filter(|figure| wanted(figure))
            .fold(table, |table, figure| table.row(row(figure)))
    };
    let figures = Section::new("What changed")
        .text(&format!("{}.", answer(told)))
        .text(&format!("Weighed by {}.", told.weighed_by))
        .table(table(&matters));
    let others = Section::new("Figures without a limit").table(table(&|figure| !matters(figure)));
    let pictures = Section::new("Drawn over one another").charts(charts(sides));
    let named = |side: &ComparedUnit| format!("{}: {}", side.name, side.result.verdict.judgement.word());
    let runs = |side: &ComparedSide| side.runs.join(", ");
    let facts = [
        ("A", named(a)),
        ("runs of A", runs(&told.a)),
        ("B", named(b)),
        ("runs of B", runs(&told.b)),
        ("profile of A", a.profile.name.clone()),
        ("profile of B", b.profile.name.clone()),
        ("limits", format!("{}. {}", a.limits.name, a.limits.origin)),
    ];
    Report {
        subject: format!("{} beside {}", told.a.name, told.b.name),
        kind: "comparison".into(),
        facts: facts.map(|(name, value)| (name.to_owned(), value)).to_vec(),
        verdict: None,
        sections: vec![figures, pictures, others],
        sheet: None,
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
    }
}

fn charts(sides: [&ComparedUnit; 2]) -> Vec<Chart> {
    let mut charts = vec![
        over("Position while learning", "time, s", "position, counts", sides.map(learned)),
        over(
            "Deviation in the sweep, opening",
            "command, % of travel",
            "deviation, % of travel",
            sides.map(swept),
        ),
        over("Friction along the travel", TRAVEL, "motor current, A", sides.map(rubbed)),
    ];
    let steps = |side: &ComparedUnit| {
        exhibits(side).find_map(|one| if let Exhibit::Steps(s) = one { Some(s.clone()) } else { None })
    };
    if let [Some(ours), Some(theirs)] = sides.map(steps) {
        charts.extend(ours.iter().filter_map(|one| {
            let other = theirs.iter().find(|(_, response)| is_alike(response, &one.1))?;
            let title = format!("{} % step, {}", one.1.size.percent(), one.1.direction);
            Some(over(&title, "time from the step, ms", TRAVEL, [stepped(one), stepped(other)]))
        }));
    }
    charts.retain(|chart| !chart.marks.is_empty());
    charts.into_iter().map(Chart::half).collect()
}

fn over(title: &str, x: &str, y: &str, lines: [Points; 2]) -> Chart {
    let both = lines.into_iter().zip(INKS).zip(["A", "B"]);
    both.filter(|((points, _), _)| !points.is_empty())
        .fold(Chart::new(title, Axis::fit(x), Axis::fit(y)), |chart, ((points, ink), name)| {
            chart.trace(name, ink, points)
        })
}

fn exhibits(side: &ComparedUnit) -> impl Iterator<Item = &Exhibit> {
    side.result.runs.iter().filter_map(|(_, shown)| shown.exhibit.as_ref())
}

fn learned(side: &ComparedUnit) -> Points {
    let trace =
        exhibits(side).find_map(|one| if let Exhibit::Learn(trace) = one { Some(trace) } else { None });
    trace.map(|trace| trace.position.clone()).unwrap_or_default()
}

fn swept(side: &ComparedUnit) -> Points {
    let points = |table: &SweepTable| {
        table.inputs().iter().copied().zip(table.average_up()).map(|(x, y)| (x, y - x)).collect()
    };
    exhibits(side)
        .find_map(|one| if let Exhibit::Sweep { table, .. } = one { Some(points(table)) } else { None })
        .unwrap_or_default()
}

fn rubbed(side: &ComparedUnit) -> Points {
    let points = |curve: &FrictionCurve| {
        curve.points().iter().map(|point| (100.0 * point.opening, point.friction())).collect()
    };
    let curve = exhibits(side)
        .find_map(|one| if let Exhibit::Friction { current, .. } = one { Some(current) } else { None });
    curve.map(points).unwrap_or_default()
}

fn stepped((trace, response): &(StepTrace, StepResponse)) -> Points {
    let last = 2.5 * response.settling_s.max(response.t86_s).max(0.04);
    let shown = trace.readings.iter().filter(|(t, _)| *t <= last);
    shown.map(|(t, opening)| (1000.0 * t, 100.0 * opening)).collect()
}

fn is_alike(one: &StepResponse, other: &StepResponse) -> bool {
    one.size == other.size && one.direction == other.direction
}
