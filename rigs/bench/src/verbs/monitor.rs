//! `monitor`: who answers at a port and what its unit reads, before anything may move.
//!
//! In: a port, perhaps a place that a stop screw or the lever is to be set to. Out: live samples, how far it still has
//! to go, and at the end what was seen. Never arms: nothing is driven, whatever is typed.

use std::path::PathBuf;

use firmware_core::calibration::{Setup, Warmth};
use firmware_core::faults::{Fault, FaultSet};
use firmware_core::link::Pacing;
use firmware_core::link::self_test::SelfTest;

use crate::console::Console;
use crate::criteria;
use crate::document::{MonitorDocument, RestReadings};
use crate::exit::{Exit, Failure, VerbResult};
use crate::interrupt;
use crate::link_rig::{self, Greeted};
use crate::port::PortSpec;
use crate::procedure::{Observed, Observer, RunStop, SetupWord, WarmthWord};
use crate::rig::{Rig, RigError, StreamItem, StreamSample};
use crate::screen::{LiveScreen, MayDrive, PlaceArgs, Subject, WantedPlace};
use crate::unit_name::UnitName;
use crate::unit_store::{self, UnitStanding};
use crate::whole_number::whole;

/// How long a stepped rig, which has no time of its own, is watched, s of its time.
const STEPPED_SECONDS: u32 = 2;
/// A day.
const MOST_SECONDS: u64 = 86_400;
/// Samples in a second.
const PER_SECOND: u64 = 1000;
/// What a screen row says of a spring, once more at the end.
const SPRING: &str = "A spring or gravity may still move the lever at any time: keep clear of it.";

/// What `monitor` takes.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Serial port: a device path, `virtual:CASE`, `virtual:ACTUATOR/CASE` (with `,paced` on wall-clock time) or `board:…`
    #[arg(long, value_name = "PORT")]
    port: PortSpec,
    /// Name of the unit, to show its learned stops
    #[arg(long, value_name = "NAME")]
    unit: Option<String>,
    /// Folder that holds the records
    #[arg(long, value_name = "DIR", default_value = "units")]
    records: PathBuf,
    /// Actuator profile, TOML, for windows and travel [default: the virtual actuator's own,
    /// invented]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// How the actuator is mounted
    #[arg(long, value_enum, default_value_t = SetupWord::Attached)]
    setup: SetupWord,
    /// Cold or hot
    #[arg(long, value_enum, default_value_t = WarmthWord::Cold)]
    warmth: WarmthWord,
    /// Stop after this many seconds [default: when a key is pressed; 2 for a stepped virtual rig]
    #[arg(long, value_name = "S", allow_negative_numbers = true, value_parser = whole::<u32>(1..=MOST_SECONDS))]
    seconds: Option<u32>,
    /// Seed of a virtual unit's scatter
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    #[command(flatten)]
    place: PlaceArgs,
}

/// Watches until a key, Ctrl-C or the time given, then tells what was seen.
///
/// # Errors
/// A [`Failure`] when nobody answers, or the line is lost.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    let watch = interrupt::watch();
    let profile = criteria::profile(args.profile.as_deref(), args.port.actuator())?;
    let (setup, warmth) = (args.setup.into(), args.warmth.into());
    let stops = stops(args, setup, warmth)?;
    let windows = profile.settings.learn.windows.of(setup, warmth);
    let ends = stops.unwrap_or([windows.closed.centre(), windows.open.centre()]);
    let place = args.place.read(profile.travel_deg, ends)?;
    let Greeted { mut rig, port, .. } = link_rig::greet(&args.port, setup, args.seed)?;
    let pacing = args.port.pacing();
    console.note(&format!("{port}: {}\nWatching; nothing will be driven.\n{SPRING}", who(rig.as_ref())));
    rig.begin_samples().map_err(lost)?;
    let subject = Subject {
        name: args.unit.clone().unwrap_or_else(|| port.clone()),
        doing: "watching, nothing is driven",
        windows: Some(windows),
        spring: profile.settings.actuator.spring,
        stops,
        drive: MayDrive::No,
        place,
    };
    let mut screen = LiveScreen::new(console, subject, pacing);
    let mut seen = Samples::default();
    let until = args.seconds.or((pacing == Pacing::Stepped).then_some(STEPPED_SECONDS));
    let ended = follow(rig.as_mut(), &mut screen, &mut seen, until);
    drop(screen);
    drop(watch);
    ended?;
    tell(rig.as_ref(), port, &seen, place, console)
}

/// Until it is asked to leave or the time is over.
fn follow(
    rig: &mut dyn Rig,
    screen: &mut LiveScreen,
    seen: &mut Samples,
    seconds: Option<u32>,
) -> Result<(), Failure> {
    let wanted = seconds.map_or(u64::MAX, |seconds| u64::from(seconds) * PER_SECOND);
    while seen.count < wanted && !interrupt::asked() {
        let item = match rig.next_item() {
            Err(RigError::Interrupted) => break,
            item => item.map_err(lost)?,
        };
        if let StreamItem::Sample(sample) = &item {
            seen.take(sample);
        }
        if screen.see(Observed::Item(&item)).is_err() {
            break;
        }
    }
    Ok(())
}

fn lost(error: RigError) -> Failure {
    RunStop::from(error).into()
}

/// Readings at the closed and the open stop, where the unit has a calibration in force.
fn stops(args: &Args, setup: Setup, warmth: Warmth) -> Result<Option<[f32; 2]>, Failure> {
    let Some(unit) = &args.unit else { return Ok(None) };
    let name = UnitName::parse(unit).map_err(|error| Failure::usage(format!("--unit: {error}.")))?;
    let dir = name.folder_in(&args.records).map_err(|error| Failure::usage(format!("--unit: {error}.")))?;
    Ok(match unit_store::read(&dir, unit, setup, warmth)? {
        UnitStanding::InForce(in_force) => {
            let learned = in_force.held.calibration;
            Some([learned.closed.zero_push_counts, learned.open.zero_push_counts])
        }
        UnitStanding::NeverLearned | UnitStanding::NoneInForce { .. } => None,
    })
}

/// Who answered, and what its self-test found.
fn who(rig: &dyn Rig) -> String {
    let identity = rig.identity();
    let serial = if identity.serial.is_empty() { String::new() } else { format!(" {}", identity.serial) };
    format!(
        "{}{serial}, {}, {}; self-test {}",
        identity.board,
        identity.model,
        identity.software,
        identity.self_test_in_words()
    )
}

/// What was seen, in constant memory.
#[derive(Debug, Default)]
struct Samples {
    count: u64,
    position: Option<[f64; 2]>,
    last: f64,
    current_sum: f64,
    currents: u64,
    current: Option<[f64; 2]>,
    supply: Option<[f64; 2]>,
    temperature: Option<[f64; 2]>,
    faults: FaultSet,
}

impl Samples {
    fn take(&mut self, sample: &StreamSample) {
        self.count += 1;
        self.last = f64::from(sample.point.position().0);
        widen(&mut self.position, self.last);
        let current = f64::from(sample.point.current().0);
        if current.is_finite() {
            self.currents += 1;
            self.current_sum += current;
            widen(&mut self.current, current);
        }
        sample.supply.iter().for_each(|supply| widen(&mut self.supply, f64::from(supply.0)));
        sample.temperature.iter().for_each(|warm| widen(&mut self.temperature, f64::from(warm.0)));
        self.faults = self.faults.union(sample.state.faults);
    }

    /// Faults that a look at rest can show; that nothing is learned yet is none.
    fn troubles(&self) -> Vec<&'static str> {
        self.faults.iter().filter(|fault| *fault != Fault::NotCalibrated).map(Fault::name).collect()
    }
}

fn widen(extent: &mut Option<[f64; 2]>, value: f64) {
    let [low, high] = extent.unwrap_or([value; 2]);
    *extent = Some([low.min(value), high.max(value)]);
}

/// What it comes to, in a line, and the exit code that goes with it.
fn verdict(samples: &Samples, self_test: SelfTest) -> (Exit, String) {
    let mut troubles = samples.troubles();
    if !self_test.is_sound() {
        troubles.insert(0, "self-test");
    }
    match (samples.count, troubles.is_empty()) {
        (0, _) => (
            Exit::Undetermined,
            "NOTHING SEEN: the board answered but sent no sample. Watch it longer.".to_owned(),
        ),
        (_, true) => (
            Exit::Done,
            "NO FAULT SEEN AT REST: a learn looks for faults that show only in motion".to_owned(),
        ),
        (_, false) => (Exit::OutOfLimits, format!("FAULTS SEEN: {}", troubles.join(", "))),
    }
}

fn extent(extent: Option<[f64; 2]>, digits: usize, unit: &str) -> String {
    match extent {
        Some([low, high]) => format!("{low:.digits$} to {high:.digits$} {unit}"),
        None => "not measured".to_owned(),
    }
}

fn tell(
    rig: &dyn Rig,
    port: String,
    samples: &Samples,
    place: Option<WantedPlace>,
    console: &Console,
) -> VerbResult {
    let identity = rig.identity();
    let (exit, verdict) = verdict(samples, identity.self_test);
    let mut lines = vec![
        format!("{port}: {verdict}"),
        format!("  watched    {:.1} s", samples.count as f64 / PER_SECOND as f64),
        format!("  board      {}", who(rig)),
        format!("  position   {}, last {:.0}", extent(samples.position, 0, "counts"), samples.last),
        format!("  current    {}, at rest", extent(samples.current, 3, "A")),
        format!("  supply     {}", extent(samples.supply, 2, "V")),
        format!("  housing    {}", extent(samples.temperature, 0, "°C")),
    ];
    lines.extend(place.map(|place| format!("  to go      {}", place.to_go(samples.last as f32))));
    lines.push(format!("  Nothing was driven. {SPRING}"));
    lines.push(verdict);
    let document = MonitorDocument {
        port,
        board: identity.board.clone(),
        serial: identity.serial.clone(),
        model: identity.model.clone(),
        software: identity.software.clone(),
        self_test: identity.self_test_in_words(),
        watched_ms: samples.count,
        seen: RestReadings {
            position_counts: samples.position,
            current_a: samples.current,
            mean_current_a: (samples.currents > 0).then(|| samples.current_sum / samples.currents as f64),
            supply_v: samples.supply,
            temperature_c: samples.temperature,
            faults: samples.faults.iter().map(Fault::name).collect(),
        },
        to_go_degrees: place.map(|place| place.degrees_to_go(samples.last as f32)),
        exit,
    };
    console.result(&lines.join("\n"), &document)?;
    Ok(exit)
}
