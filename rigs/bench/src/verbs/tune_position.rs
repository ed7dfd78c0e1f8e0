//! `tune RUN`: from a recorded step to proposed position-loop gains, with the step they promise.
//!
//! In: a run folder of `step` (or of any closed-loop motion at full sample rate) and a rule. Out: what was
//! identified, the gains, the loop's margins, predicted and simulated step side by side, and with `--out`
//! the fields of a profile that would change, old beside new. Nothing moves and nothing else changes. Refused: records that identify nothing, gains outside
//! what the controller allows.

use std::path::{Path, PathBuf};

use clap::ValueEnum;
use firmware_core::command::Command;
use firmware_core::settings::Settings;
use tune::{Identified, Loop, Process, Rule, TunePoint, identify, predicted, simulated, tuned_settings};

use crate::caution::HANDED_OVER;
use crate::console::Console;
use crate::criteria::{profile, recorded_on, same_profile};
use crate::document::{OldAndNew, StepFigures, TuneDocument};
use crate::exit::{Exit, Failure, VerbResult};
use crate::fold::Fold;
use crate::number::number;
use crate::output::{MADE_BY, write_file};
use crate::record::Run;
use crate::unit_result::vouched;

/// Tuning rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum RuleWord {
    /// SIMC (Skogestad 2003) with the closed-loop time of `--closed-loop-ms`
    Simc,
    /// Relay feedback on the identified model (Åström and Hägglund 1984), Ziegler–Nichols gains: livelier
    Relay,
}

/// What `tune RUN` takes.
#[derive(Debug, clap::Args)]
pub struct PositionArgs {
    /// Run folder with steps of a sound unit: units/UNIT/0003-step
    #[arg(value_name = "RUN", required = true)]
    run: Option<PathBuf>,
    /// Rule that turns the model into gains
    #[arg(long, value_enum, default_value_t = RuleWord::Simc)]
    rule: RuleWord,
    /// Wanted closed-loop time constant for SIMC, ms, 2 to 500; larger is gentler
    #[arg(long, value_name = "MS", default_value_t = 12.0)]
    closed_loop_ms: f64,
    /// Actuator profile whose settings are tuned, TOML [default: the built-in one of the run]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Write the changed fields to this file, TOML, each with its old value; paste them into a
    /// profile, or try them with `simulate --with`
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// The section of a profile that a rule sets.
const SECTION: &str = "settings.position";
const PLAY: &str = "not visible: the sensor is on the motor's side of the joint";
/// The step that is shown: 10 % about the middle.
const STEP: (f64, f64) = (0.45, 0.55);
/// Closed-loop times that make sense at a 1 ms tick, ms.
const CLOSED_LOOP_MS: core::ops::RangeInclusive<f64> = 2.0..=500.0;

/// Identifies, tunes, predicts, simulates.
///
/// # Errors
/// A [`Failure`] with what the record or the command line lacks.
pub fn run(args: &PositionArgs, console: &Console) -> VerbResult {
    if !CLOSED_LOOP_MS.contains(&args.closed_loop_ms) {
        let given = args.closed_loop_ms;
        return Err(Failure::usage(format!("--closed-loop-ms {given}: allowed 2 to 500; try 12")));
    }
    // The command line has seen to it that there is one.
    let folder = args.run.as_deref().unwrap_or(Path::new(""));
    let record = vouched(folder)?;
    let runs = std::slice::from_ref(&record);
    let profile = profile(args.profile.as_deref(), recorded_on(runs))?;
    let base = profile.settings;
    same_profile(runs, &profile)?;
    let found = identify(&points(&record, &base))
        .map_err(|error| Failure::undetermined(format!("{}: {error}", folder.display())))?;
    let closed_loop_s = args.closed_loop_ms * 1e-3;
    let process = found.process(closed_loop_s);
    let gains = match args.rule {
        RuleWord::Simc => Rule::Simc { closed_loop_s }.gains(&process),
        RuleWord::Relay => Rule::Relay.gains(&process),
    };
    let settings = tuned_settings(&base, &found, &gains).map_err(|error| {
        Failure::undetermined(format!(
            "{error}: the rule's gains cannot be used; try a larger --closed-loop-ms"
        ))
    })?;
    let tuned = Loop { process, gains };
    let settings_now = changes(&base, &settings);
    let told = TuneDocument {
        run: record.name.to_string(),
        identified: found,
        play_between_lever_and_ring: PLAY,
        process,
        gains,
        margins: tuned.margins(),
        predicted: StepFigures::from(&predicted(&tuned, STEP.0, STEP.1)),
        simulated: StepFigures::from(&simulated(&settings, &found, STEP.0, STEP.1)),
        not_changed: back_emf(&base, &found),
        written: write(args.out.as_deref(), &settings_now, &record)?,
        settings: settings_now,
    };
    console.result(&text(&told, Fold::of_the_reader()), &told)?;
    Ok(Exit::Done)
}

/// Duty times supply and opening of every sample with the drive on. A sample without a supply of its own
/// takes the calibration's.
fn points(record: &Run, base: &Settings) -> Vec<TunePoint> {
    let calibration = record.file.outcome.calibration;
    let supply = calibration.map_or(base.actuator.nominal_supply, |known| known.supply);
    record
        .samples()
        .filter(|sample| sample.command != Command::Release)
        .filter_map(|sample| {
            Some(TunePoint {
                tick: sample.tick.0,
                volts: f64::from(sample.duty) * f64::from(sample.supply.unwrap_or(supply).0),
                opening: f64::from(sample.opening?),
            })
        })
        .collect()
}

/// The fields that the rule sets, old beside new.
fn changes(base: &Settings, tuned: &Settings) -> Vec<OldAndNew> {
    let (old, new) = (&base.position, &tuned.position);
    [
        ("gain_v", old.gain_v, new.gain_v),
        ("integral_time_s", old.integral_time_s, new.integral_time_s),
        ("derivative_time_s", old.derivative_time_s, new.derivative_time_s),
        ("derivative_filter_s", old.derivative_filter_s, new.derivative_filter_s),
        ("sliding_friction_v", old.sliding_friction_v, new.sliding_friction_v),
        ("inertia_v_s2", old.inertia_v_s2, new.inertia_v_s2),
    ]
    .map(|(field, old, new)| OldAndNew { field: format!("{SECTION}.{field}"), old, new })
    .into()
}

/// The motor's back-EMF: the profile's stays, for learn and current limit go by it too.
fn back_emf(base: &Settings, found: &Identified) -> OldAndNew {
    let span = f64::from(base.actuator.nominal_span_counts);
    OldAndNew {
        field: "settings.actuator.back_emf_v_per_count_per_s".into(),
        old: base.actuator.back_emf_v_per_count_per_s,
        new: (1.0 / (found.gain_per_s_v * span)) as f32,
    }
}

fn write(out: Option<&Path>, settings: &[OldAndNew], record: &Run) -> Result<Option<PathBuf>, Failure> {
    let Some(path) = out else { return Ok(None) };
    let head = format!(
        "# Position loop {MADE_BY} from {} of the profile {}: replace the same lines there with these,\n# \
         then learn again: a calibration holds for the settings that it was learned under.\n# \
         {HANDED_OVER}\n\n[{SECTION}]\n",
        record.name, record.file.run.profile
    );
    let line = |OldAndNew { field, old, new }: &OldAndNew| {
        let name = field.rsplit('.').next().unwrap_or_default();
        format!("{:<36} # was {old:?}\n", format!("{name} = {new:?}"))
    };
    let text = settings.iter().map(line).fold(head, |text, line| text + &line);
    write_file(path, text.as_bytes())?;
    Ok(Some(path.to_owned()))
}

fn text(told: &TuneDocument, fold: Fold) -> String {
    let (found, gains) = (&told.identified, &told.gains);
    let mut lines = vec![
        format!(
            "{}: {} samples in motion, {:.1} % explained",
            told.run,
            found.samples,
            100.0 * found.explained
        ),
        format!("  gain                {:.4} opening/s per V", found.gain_per_s_v),
        format!("  time constant       {:.2} ms", 1e3 * found.time_constant_s),
        format!("  dead time           {:.2} ms", 1e3 * found.dead_time_s),
        format!("  sliding friction    {:.3} V", found.friction_v),
        format!("  hold at mid travel  {:.3} V", found.hold_v),
        format!("  play                {PLAY}"),
        match told.process {
            Process::Integrating { .. } => "model: integrating (the spring is too weak to matter)".into(),
            Process::FirstOrder { .. } => "model: first order with dead time (the spring dominates)".into(),
        },
        format!(
            "gains: {:.2} V per opening, integral {:.1} ms, derivative {:.2} ms",
            gains.proportional,
            1e3 * gains.integral_time_s,
            1e3 * gains.derivative_time_s
        ),
    ];
    if let Some(margins) = &told.margins {
        lines.push(format!(
            "margins: gain {:.2}, phase {:.1}°, largest sensitivity {:.2}",
            margins.gain, margins.phase_deg, margins.sensitivity
        ));
    }
    lines.extend([String::new(), fold.table(&step_rows(told)), String::new(), fold.table(&field_rows(told))]);
    let OldAndNew { field, old, new } = &told.not_changed;
    lines.push(format!("  {field}: stays {}; this run says {}", shown(*old), shown(*new)));
    lines.extend(told.written.iter().map(|path| format!("written: {}", path.display())));
    lines.join("\n")
}

/// The step that the gains promise, head first.
fn step_rows(told: &TuneDocument) -> Vec<Vec<String>> {
    let row = |name: &str, figure: fn(&StepFigures) -> String| {
        vec![name.to_owned(), figure(&told.predicted), figure(&told.simulated)]
    };
    vec![
        ["step 0.45 to 0.55", "predicted (linear)", "simulated (controller, friction)"]
            .map(str::to_owned)
            .to_vec(),
        row("T86, ms", |f| f.t86_ms.map_or("never".into(), |t| t.to_string())),
        row("overshoot, %", |f| format!("{:.1}", f.overshoot_percent)),
        row("steady error, % travel", |f| format!("{:+.3}", f.steady_error_percent_of_travel)),
    ]
}

/// The fields of a profile that would change, head first.
fn field_rows(told: &TuneDocument) -> Vec<Vec<String>> {
    let head = ["profile field", "now", "proposed"].map(str::to_owned).to_vec();
    let row = |one: &OldAndNew| vec![one.field.clone(), shown(one.old), shown(one.new)];
    std::iter::once(head).chain(told.settings.iter().map(row)).collect()
}

/// Four significant digits.
fn shown(value: f32) -> String {
    number(f64::from(value))
}
