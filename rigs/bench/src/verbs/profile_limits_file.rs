//! The limits file that good units give, and the lines that a profile takes of it.

use std::fmt::Write as _;

use crate::caution::HANDED_OVER;
use crate::document::LimitsDocument;
use crate::evaluate::{DraftedLimit, IntervalMethod, SameGround};
use crate::figures::{Measure, Stop};
use crate::limits::Bounds;
use crate::number::number;
use crate::output::MADE_BY;
use crate::profile::Profile;
use crate::record::Run;

/// Where a file says that its units are simulated.
const INVENTED: &str = "Invented: virtual units. ";

/// The file's text.
pub(super) fn file_text(
    document: &LimitsDocument,
    units: &[Vec<Run>],
    ground: SameGround,
    profile: &Profile,
) -> String {
    let (content, confidence) = (document.content_percent, document.confidence_percent);
    let count = document.units.len();
    let method = match document.method {
        IntervalMethod::Normal => "normal spread assumed",
        IntervalMethod::DistributionFree => "no spread assumed",
    };
    let is_virtual = |run: &Run| run.file.run.virtual_unit.is_some();
    let invented = if units.iter().flatten().any(is_virtual) { INVENTED } else { "" };
    let mut out = format!(
        "# Acceptance limits {MADE_BY} from {count} good units. {HANDED_OVER}\n\
         # Each holds {content} % of all such units at {confidence} % confidence, {method} (ISO 16269-6).\n\
         name = {:?}\n\
         origin = \"{invented}Tolerance intervals of {count} units, {}, gauged {}; {content} % content, {confidence} % \
         confidence, {method}.\"\n",
        document.profile, document.mounted, document.gauge,
    );
    for limit in document.limits.iter().filter(|limit| !is_window(limit)) {
        let Some(bounds) = &limit.bounds else { continue };
        out.push_str(&table(limit, bounds));
    }
    out.push_str(&windows(document, ground, profile));
    out
}

/// A stop's place belongs into the windows of a profile: it differs from setup to setup.
fn is_window(limit: &DraftedLimit) -> bool {
    [Stop::Closed, Stop::Open].iter().any(|stop| is_place_of(limit, *stop))
}

fn is_place_of(limit: &DraftedLimit, stop: Stop) -> bool {
    limit.key == Measure::StopPosition(stop).definition().key
}

// Writing to a string cannot fail.
fn table(limit: &DraftedLimit, bounds: &Bounds) -> String {
    let factor = limit.factor.map_or_else(String::new, |k| format!(", k = {}", number(k)));
    let mut out = format!(
        "\n[limit.{}] # {}; {} units, {} runs{factor}\n",
        limit.key, limit.unit, limit.units, limit.runs
    );
    let _ = bounds.min.map(|min| writeln!(out, "min = {min:?}"));
    let _ = bounds.max.map(|max| writeln!(out, "max = {max:?}"));
    let _ = bounds.expanded_uncertainty.map(|expanded| writeln!(out, "expanded_uncertainty = {expanded:?}"));
    let _ = bounds.sound_units.map(|units| {
        let (mean, deviation) = (number(units.mean), number(units.standard_deviation));
        writeln!(out, "sound_units = {{ mean = {mean}, standard_deviation = {deviation} }}")
    });
    out
}

/// Lines for the profile, as comments: windows of the stops where these units were measured.
fn windows(document: &LimitsDocument, ground: SameGround, profile: &Profile) -> String {
    let place = |stop| document.limits.iter().find(|limit| is_place_of(limit, stop));
    let (Some(closed), Some(open)) = (place(Stop::Closed), place(Stop::Open)) else { return String::new() };
    let edges = |limit: &DraftedLimit| {
        let bounds = limit.bounds.as_ref()?;
        Some(format!("{{ min = {:.0}, max = {:.0} }}", bounds.min?, bounds.max?))
    };
    let (Some(closed_edges), Some(open_edges)) = (edges(closed), edges(open)) else { return String::new() };
    let setup = ground.setup.to_string().replace('-', "_");
    let percent = 100.0 / f64::from(profile.settings.actuator.nominal_span_counts);
    let spread = closed.between_units.max(open.between_units) * percent;
    let expanded = [closed, open].into_iter().filter_map(|limit| limit.expanded_uncertainty);
    let expanded = expanded.fold(0.0, f64::max) * percent;
    let mut out = format!(
        "\n# For the profile; `vanebench profile check` says whether such windows support the tolerance of a stop:\n\
         # [settings.learn.windows.{setup}.{}]\n# closed = {closed_edges}\n# open = {open_edges}\n# [stops]\n\
         # unit_spread_percent = {}\n",
        ground.warmth,
        number(spread)
    );
    if expanded > 0.0 {
        let _ = writeln!(out, "# expanded_uncertainty_percent = {}", number(expanded));
    }
    out
}
