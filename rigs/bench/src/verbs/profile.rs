//! `profile`: what is known of an actuator before the bench. `check` shows a profile as the bench understands it, and
//! nothing moves; `characterise` makes one; `limits` draws limits from good units.
//!
//! In: a profile's file, or the name of a built-in actuator. Out: every setting that follows, with its rule, what the
//! profile gives instead, and the force that a learn has to spare. A contradiction is refused on reading. Out of limits
//! (exit code 1) when too little force is left.

use std::path::Path;

use super::{characterise, profile_limits};
use crate::actuator;
use crate::caution::Effect;
use crate::console::Console;
use crate::criteria;
use crate::document::{DerivedSetting, ProfileDocument, TorqueReserve, WindowRow};
use crate::exit::{Exit, Failure, VerbResult};
use crate::number::{number, percent};
use crate::profile::{LEAST_RESERVE, Profile, Reserve, WindowSupport};
use firmware_core::calibration::{Setup, Warmth};

/// What `profile` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(subcommand)]
    about: ProfileVerb,
}

#[derive(Debug, clap::Subcommand)]
enum ProfileVerb {
    /// Check a whole profile and print each value that follows from it, with its rule
    Check {
        /// Profile, TOML, or the name of a built-in actuator
        #[arg(value_name = "PROFILE")]
        profile: String,
    },
    /// Find out what a virtual actuator without a data sheet is, step by step at low energy, and write its profile
    Characterise(Box<characterise::Args>),
    /// Draw acceptance limits and stop windows from units that were gauged to be good
    Limits(Box<profile_limits::Args>),
}

impl Args {
    pub(crate) fn effect(&self) -> Effect {
        match self.about {
            ProfileVerb::Check { .. } => Effect::Neither,
            ProfileVerb::Characterise(_) => Effect::Moves,
            ProfileVerb::Limits(_) => Effect::HandsOver,
        }
    }
}

/// Runs the verb.
///
/// # Errors
/// When the profile cannot be read, contradicts itself or is out of range: file, line, field.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        ProfileVerb::Check { profile } => check(profile, console),
        ProfileVerb::Characterise(args) => characterise::run(args, console),
        ProfileVerb::Limits(args) => profile_limits::run(args, console),
    }
}

fn check(asked: &str, console: &Console) -> VerbResult {
    let (path, actuator) = match actuator::named(asked) {
        Some(actuator) => (None, actuator),
        None => (Some(Path::new(asked)), &actuator::DEMO),
    };
    let profile = criteria::profile(path, actuator)?;
    let Some(reserve) = profile.reserve() else {
        return Err(Failure::usage(format!(
            "{asked}: sound_unit is missing. Add the table; nothing was moved."
        )));
    };
    let document = document(&profile, reserve);
    console.result(&text(&document), &document)?;
    Ok(if document.torque_reserve.is_enough { Exit::Done } else { Exit::OutOfLimits })
}

fn document(profile: &Profile, reserve: Reserve) -> ProfileDocument {
    let settings = profile.derived().into_iter().map(|one| DerivedSetting {
        field: format!("settings.{}", one.field),
        follows: one.value,
        given: profile.gives(one.field).then(|| f64::from(one.held(&profile.settings))),
        rule: one.rule,
    });
    ProfileDocument {
        profile: profile.name.clone(),
        settings: settings.collect(),
        torque_reserve: TorqueReserve {
            needed_a: reserve.needed_a,
            available_a: reserve.available_a,
            times_friction: reserve.ratio,
            least: LEAST_RESERVE,
            is_enough: reserve.ratio >= LEAST_RESERVE,
        },
        stops: profile.stops,
        windows: window_rows(profile),
    }
}

/// What each window does under the tolerance of a stop.
fn window_rows(profile: &Profile) -> Vec<WindowRow> {
    let Some(stops) = profile.stops else { return Vec::new() };
    let (windows, travel) = (&profile.settings.learn.windows, profile.settings.actuator.nominal_span_counts);
    let mut rows = Vec::new();
    for setup in [Setup::Free, Setup::Attached, Setup::OnEngine] {
        for warmth in [Warmth::Cold, Warmth::Hot] {
            let both = windows.of(setup, warmth);
            rows.extend([("closed", both.closed), ("open", both.open)].map(|(stop, window)| WindowRow {
                window: format!("{setup}, {warmth}, {stop}"),
                support: stops.support(window, travel),
            }));
        }
    }
    rows
}

/// What the windows prove, in a line.
fn stops_line(document: &ProfileDocument) -> String {
    let Some(stops) = &document.stops else {
        return "stops: [stops] is missing, so it is unknown how far off an accepted stop may be. Give \
            tolerance, spread of sound units and uncertainty, as in a built-in profile"
            .to_owned();
    };
    let worst = |of: fn(&WindowSupport) -> f64| {
        document.windows.iter().map(|row| of(&row.support)).fold(0.0, f64::max)
    };
    format!(
        "stops: tolerance ± {} % of travel, sound units spread by {} % (standard deviation), a stop is \
         learned to ± {} % (k = 2). With windows of ± {:.2} % at most, an accepted stop may be off by \
         {:.2} %, and {} of sound stops are refused",
        stops.tolerance_percent,
        stops.unit_spread_percent,
        stops.expanded_uncertainty_percent,
        worst(|support| support.half_width_percent),
        worst(|support| support.accepted_percent),
        percent(worst(|support| support.sound_refused_percent)),
    )
}

/// Is enough force left, in a line.
fn verdict(document: &ProfileDocument) -> String {
    let reserve = &document.torque_reserve;
    let numbers = format!(
        "torque reserve {:.1} times friction (at least {}): {:.2} A available at low supply and warm winding, {:.2} A \
         needed",
        reserve.times_friction, reserve.least, reserve.available_a, reserve.needed_a
    );
    if reserve.is_enough {
        format!("{}: complete, no contradictions; {numbers}", document.profile)
    } else {
        format!(
            "{}: too little torque in reserve: sound units will be refused. Check supply, winding, friction and spring. \
             {numbers}",
            document.profile
        )
    }
}

fn text(document: &ProfileDocument) -> String {
    let verdict = verdict(document);
    let mut lines = vec![verdict.clone()];
    for one in &document.settings {
        lines.push(match one.given {
            None => format!("  {} = {}", one.field, number(one.follows)),
            Some(given) => {
                format!("  {} = {} (given; the rule gives {})", one.field, number(given), number(one.follows))
            }
        });
        lines.push(format!("      {}", one.rule));
    }
    lines.push(stops_line(document));
    lines.push(verdict);
    lines.join("\n")
}
