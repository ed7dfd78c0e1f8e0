//! `profile characterise`: an actuator without a data sheet, step by step at low energy, and what is known of it after.

use std::path::PathBuf;

use crate::caution::{HANDED_OVER, HandsClear, LeverMotion};
use crate::characterise::{self, AnswerArgs, Eyes, Found, characterise};
use crate::console::Console;
use crate::document::CharacterisedDocument;
use crate::exit::{Exit, Failure, VerbResult};
use crate::interrupt;
use crate::link_rig::{self, Greeted};
use crate::output::{Maker, OutFolder};
use crate::port::PortSpec;
use crate::procedure::{RunStop, SetupWord};
use crate::profile::Profile;
use crate::short_text::ShortText;
use crate::unit_name::UnitName;
use plant::toml_file::TomlFile;

/// What `characterise` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Serial device, or a virtual unit: `virtual:CASE` or `virtual:ACTUATOR/CASE` (with `,paced` on
    /// wall-clock time), or `board:…`. Tried on simulated units alone: a real one needs a person
    /// beside it, with a typed yes, or --hands-clear with --operator
    #[arg(long, value_name = "PORT")]
    port: PortSpec,
    /// Name of the unit: the number on its tag
    #[arg(long, value_name = "NAME")]
    unit: String,
    /// How the actuator is mounted
    #[arg(long, value_enum, default_value_t = SetupWord::Attached)]
    setup: SetupWord,
    /// Folder for the profile, the draft of limits and the table
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Seed of a virtual unit's scatter
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    answers: AnswerArgs,
    /// Who stands beside a real unit
    #[arg(long, value_name = "NAME")]
    operator: Option<ShortText>,
    #[command(flatten)]
    hands_clear: HandsClear,
}

/// Asks, cautions, probes, hands over.
///
/// # Errors
/// A [`Failure`] with the surprise that stopped it; the drive is off. Without a person beside a real unit, before its
/// port is opened.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let name =
        UnitName::parse(&args.unit).map_err(|error| Failure::usage(format!("--unit: {error}.")))?.to_string();
    let out = args.out.as_ref().map(|dir| OutFolder::claim(dir, Maker::Characterise)).transpose()?;
    let (actuator, motion) = match &args.port {
        PortSpec::Virtual { unit, .. } => (Some(unit.actuator), LeverMotion::Simulated),
        PortSpec::Device(_) => (None, LeverMotion::Real),
    };
    let answers = args.answers.complete(actuator)?;
    let eyes = match actuator {
        Some(own) => Eyes::Virtual(
            &args.answers,
            own.profile().map_err(Failure::usage)?.settings.actuator.counts_direction,
        ),
        None => Eyes::Person(&args.answers),
    };
    let supply_limit_a = characterise::supply_limit_a(&answers);
    let present = args.hands_clear.confirm_unknown(motion, supply_limit_a, args.operator.as_ref())?;
    let watch = interrupt::watch();
    let Greeted { mut rig, .. } = link_rig::greet(&args.port, args.setup.into(), args.seed)?;
    let settings = characterise::settings(&answers);
    let lost = |error| Failure::from(RunStop::from(error));
    rig.hand_over(&settings).map_err(lost)?;
    rig.arm(settings.hash()).map_err(lost)?;
    rig.begin_samples().map_err(lost)?;
    let found = characterise(rig.as_mut(), answers, eyes, &mut |words| console.note(words));
    drop(rig);
    drop(watch);
    let found = found?;
    let profile = characterise::profile_text(&name, &found, &answers);
    Profile::read(&TomlFile::from_text("profile.toml", &profile)).map_err(Failure::undetermined)?;
    let table = characterise::table(&found);
    let beside = present.map(|present| format!("  beside it: {present}\n")).unwrap_or_default();
    let text = format!(
        "{name}: characterised, PROVISIONAL: it rests on this unit alone\n{table}\n{beside}  a learn with this \
         profile ends \"not proven\" at best; gauge the throat and measure a second unit\n{HANDED_OVER}"
    );
    if let Some(out) = out {
        let limits = characterise::limits_text(&name, &found);
        let files = [("profile.toml", &profile), ("limits.toml", &limits), ("table.txt", &text)];
        out.replace(&files.map(|(file, text)| (file, text.as_bytes())))?;
    }
    console.result(&text, &document(name, &found, profile))?;
    Ok(Exit::Done)
}

fn document(unit: String, found: &Found, profile: String) -> CharacterisedDocument {
    let pair = |value: characterise::Value| [value.value, value.uncertainty];
    CharacterisedDocument {
        unit,
        resistance_ohm: pair(found.resistance_ohm),
        friction_a: pair(found.friction_a),
        spring_least_a: pair(found.spring_a[0]),
        spring_most_a: pair(found.spring_a[1]),
        open_stop_counts: pair(found.stops[0]),
        closed_stop_counts: pair(found.stops[1]),
        back_emf_v_per_count_per_s: found.back_emf.map(pair),
        noise_counts: found.noise_counts,
        largest_current_a: found.largest_current_a,
        over_cap: found.over_cap,
        stop_speed_travel_per_s: found.stop_speed,
        seconds: found.seconds,
        profile,
    }
}
