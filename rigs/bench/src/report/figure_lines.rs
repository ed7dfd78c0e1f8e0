//! The tables of figures: value, limit, degrees, and how each stands.

use askama::Template;

use super::lever::LeverTravel;
use crate::figures::TRAVEL;
use crate::judge::{FigureRow, LimitCheck, Verdict};
use crate::limits::{Bounds, LimitStanding};

/// A table of figures.
#[derive(Template)]
#[template(path = "figures.html")]
pub(super) struct FigureTable<'a> {
    caption: &'static str,
    has_degrees: bool,
    pub(super) lines: Vec<FigureLine<'a>>,
}

impl<'a> FigureTable<'a> {
    /// Figures that have a limit.
    pub(super) fn limited(verdict: Option<&'a Verdict>, lever: Option<LeverTravel>) -> Self {
        Self::of(verdict, lever, "Figures that have a limit", |line| !line.mark.is_empty())
    }

    /// All but step figures without a limit, which stand in the table of steps.
    pub(super) fn headline(verdict: Option<&'a Verdict>, lever: Option<LeverTravel>) -> Self {
        let in_steps =
            |line: &FigureLine<'_>| line.figure.group().starts_with("step_") && line.mark.is_empty();
        Self::of(verdict, lever, "Figures, each with its limit where it has one", |line| !in_steps(line))
    }

    fn of(
        verdict: Option<&'a Verdict>,
        lever: Option<LeverTravel>,
        caption: &'static str,
        is_wanted: impl Fn(&FigureLine<'a>) -> bool,
    ) -> Self {
        let lines = verdict.map_or_else(Vec::new, |verdict| figure_lines(verdict, lever));
        Self {
            caption,
            has_degrees: lever.is_some(),
            lines: lines.into_iter().filter(|l| is_wanted(l)).collect(),
        }
    }
}

/// Figures whose definitions differ, in the order of the table.
pub(super) fn definitions(figures: &[FigureRow]) -> Vec<&FigureRow> {
    let mut seen: Vec<&FigureRow> = Vec::new();
    for figure in figures {
        if !seen.iter().any(|row| row.definition == figure.definition) {
            seen.push(figure);
        }
    }
    seen
}

/// Under which conditions the figures were taken, each once, with the figures it holds for.
pub(super) fn conditions(figures: &[FigureRow]) -> Vec<String> {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for figure in figures.iter().filter(|figure| !figure.conditions.is_empty()) {
        let (condition, group) = (figure.conditions.as_str(), figure.group());
        match groups.iter_mut().find(|(seen, _)| *seen == condition) {
            Some((_, names)) if names.contains(&group) => {}
            Some((_, names)) => names.push(group),
            None => groups.push((condition, vec![group])),
        }
    }
    groups.iter().map(|(condition, names)| format!("{}: {condition}.", names.join(", "))).collect()
}

impl FigureRow {
    /// Its name without the step's size, for the list of definitions.
    pub(super) fn plain_name(&self) -> &str {
        match self.name.split_once(", ") {
            Some((name, rest)) if rest.ends_with("% step") => name,
            Some(_) | None => &self.name,
        }
    }
}

/// One row of the table of figures.
pub(super) struct FigureLine<'a> {
    pub(super) figure: &'a FigureRow,
    pub(super) value: String,
    /// In degrees of the lever, where it is measured against the travel; else empty.
    pub(super) degrees: String,
    pub(super) allowed: String,
    /// Distance to the nearer bound; negative beyond it.
    pub(super) margin: String,
    pub(super) place: String,
    pub(super) mark: &'static str,
    pub(super) class: &'static str,
}

/// Every figure of a verdict, in its order.
fn figure_lines(verdict: &Verdict, lever: Option<LeverTravel>) -> Vec<FigureLine<'_>> {
    let line = |figure| {
        let check = verdict.checks.iter().find(|check| is_for(check, figure));
        let (mark, class) = check.map_or(("", ""), |check| standing_mark(check.standing));
        let beside = lever.and_then(|lever| lever.beside(figure.value, &figure.unit));
        FigureLine {
            figure,
            value: printed(
                &check.map_or_else(|| figure.text.clone(), |check| check.with_uncertainty(&figure.text)),
            ),
            degrees: beside.unwrap_or_default(),
            allowed: check.map_or_else(String::new, |check| allowed(check.bounds, &figure.unit, lever)),
            margin: check.map_or_else(String::new, |check| printed(&check.margin(&figure.text))),
            place: lever.map_or_else(|| figure.place.clone(), |lever| lever.placed(&figure.place)),
            mark,
            class,
        }
    };
    verdict.figures.iter().map(line).collect()
}

/// What is allowed, with degrees behind it.
fn allowed(bounds: Bounds, unit: &str, lever: Option<LeverTravel>) -> String {
    let text = printed(bounds.text("").trim_end());
    let Some(lever) = lever.filter(|_| unit == TRAVEL) else { return text };
    let degrees: Vec<String> =
        [bounds.min, bounds.max].into_iter().flatten().map(|bound| lever.text(bound)).collect();
    format!("{text} ({})", degrees.join(" to "))
}

/// Numbers in print carry a true minus sign.
fn printed(number: &str) -> String {
    number.replace('-', "−")
}

fn is_for(check: &LimitCheck, figure: &FigureRow) -> bool {
    check.key == figure.key && check.place == figure.place && check.value == figure.value
}

/// Mark, and class in the style sheet.
fn standing_mark(standing: LimitStanding) -> (&'static str, &'static str) {
    match standing {
        LimitStanding::Inside => ("✓", "good"),
        LimitStanding::TooClose => ("?", "open"),
        LimitStanding::Outside => ("✗", "bad"),
    }
}
