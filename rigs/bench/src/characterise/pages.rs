//! What is handed over: a profile, a draft of limits, and a table for a person.

use std::fmt::Write as _;

use firmware_core::settings::{CountsDirection, SpringAction};

use super::answers::Answers;
use super::estimate::Found;
use super::value::Value;
use crate::caution::HANDED_OVER;
use crate::output::MADE_BY;
use crate::profile::OF_ONE_UNIT;

/// Most volts that the position loop feeds forward for friction; its integral adds the rest.
const MOST_FRICTION_V: f64 = 6.0;
/// Least travel that tells a stall, counts.
const LEAST_STALL_TRAVEL: f64 = 2.0;
/// How far friction hides where a soft stop lies, in shares of what as much push is seen to make it yield.
const CREEPS: f64 = 1.5;
/// A stop that yields less than the measured yield through this says that the sensor does not follow: the rule of a kind
/// that is known.
const LIVE_YIELD: f64 = 7.0;
/// Least half width of a provisional window, in shares of travel.
const WINDOW: f64 = 0.005;

/// A name as a profile or a table has it.
fn spring_word(spring: SpringAction) -> &'static str {
    match spring {
        SpringAction::None => "none",
        SpringAction::Opens => "opens",
        SpringAction::Closes => "closes",
    }
}

impl Found {
    fn span(&self) -> f64 {
        let [open, closed] = self.stops;
        (open.value - closed.value).abs()
    }

    /// The softest that a stop may be, counts/A.
    fn softest(&self) -> f64 {
        self.stop_yield.value + self.stop_yield.uncertainty
    }

    /// Where only a profile asks for a number: the least that the signals could have missed.
    fn back_emf_or_bound(&self) -> f64 {
        let bound = 0.3 * self.resistance_ohm.value * self.friction_a.value / self.span();
        self.back_emf.map_or(bound, |value| value.value).max(1.1e-6)
    }
}

/// `creeps`: counts by which friction hides where a soft stop lies.
fn window(stop: Value, span: f64, creeps: f64) -> (i64, i64) {
    let half = (WINDOW * span).max(2.0 * stop.uncertainty).max(3.0) + creeps;
    ((stop.value - half).floor() as i64, (stop.value + half).ceil() as i64)
}

/// The profile, with each value's uncertainty beside it.
#[must_use]
pub fn profile_text(name: &str, found: &Found, answers: &Answers) -> String {
    let span = found.span();
    let [open, closed] = found.stops;
    let (low, high) = (open.value.min(closed.value), open.value.max(closed.value));
    let reach = 0.15 * span;
    let sensor = ((low - reach).max(1.0) as i64, (high + reach).min(16_382.0) as i64);
    let mut out = head_text(name, found, answers);
    out.push_str(&plan_text(found, answers));
    out.push_str(&drive_text(found, answers, sensor));
    out.push_str(&belief_text(found));
    out.push_str(&windows_text(found, sensor));
    out
}

/// Name, travel and what a sound unit shows.
fn head_text(name: &str, found: &Found, answers: &Answers) -> String {
    let mut out = format!(
        "# {MADE_BY} profile characterise. {HANDED_OVER}\n# Windows, travel and currents are this unit's own: provisional until others of its kind were measured.\n\
         name = {name:?}\norigin = \"{OF_ONE_UNIT}: {name}.\"\n\n# said by a person\ntravel_deg = {:.1}\n\n[sound_unit]\n",
        answers.degrees
    );
    let mut row = |key: &str, value: Value, digits: usize| {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "{key} = {:.digits$} # ± {:.digits$}, k = 2", value.value, value.uncertainty);
    };
    row("friction_a", found.friction_a, 4);
    row(
        "break_away_a",
        Value { value: found.break_away_a.value.max(found.friction_a.value + 1e-4), ..found.break_away_a },
        4,
    );
    row("spring_least_a", found.spring_a[0], 4);
    row("spring_most_a", found.spring_a[1], 4);
    // Limits of a stop's stiffness follow from it: the softest that it may be.
    row("stop_yield_counts_per_a", Value { value: found.softest(), ..found.stop_yield }, 2);
    let _ = writeln!(out, "noise_counts = {:.2} # ± 10 %\n{PLAN}", found.noise_counts);
    out
}

/// The open-loop ramps: half as much again as moves the lever each way.
fn plan_text(found: &Found, answers: &Answers) -> String {
    let (ohm, volts) = (found.resistance_ohm.value, answers.rated_voltage);
    let load = match found.spring {
        SpringAction::None => 0.0,
        SpringAction::Opens => -found.spring_a[1].value,
        SpringAction::Closes => found.spring_a[1].value,
    };
    let duty = |amps: f64| (1.5 * amps * ohm / volts).clamp(-0.9, 0.9);
    let opening = duty((found.friction_a.value + load).max(0.3 * found.friction_a.value)).max(0.03);
    let closing = duty(-(found.friction_a.value - load).max(0.3 * found.friction_a.value)).min(-0.03);
    format!(
        "[plan.friction]\nopening_duty = {opening:.3}\nclosing_duty = {closing:.3}\nramp_ticks = 4000\ncycles = 1\nend_excluded = 0.05\n\n"
    )
}

/// What the controller is told of actuator, limits and position loop.
fn drive_text(found: &Found, answers: &Answers, (sensor_min, sensor_max): (i64, i64)) -> String {
    let span = found.span();
    let [open, closed] = found.stops;
    let direction = match found.counts_direction {
        CountsDirection::OpeningRaises => "opening-raises",
        CountsDirection::OpeningLowers => "opening-lowers",
    };
    let (ohm, volts, amps) = (found.resistance_ohm.value, answers.rated_voltage, answers.continuous_current);
    let needed = 1.25 * found.break_away_a.value.max(found.friction_a.value + found.spring_a[1].value);
    let most = (volts / ohm).min((6.0 * needed).max(3.0 * amps)).clamp(0.1, 10.0);
    // Up to the digits that what follows from it is rounded to.
    let most = (most * 10.0).ceil() / 10.0;
    let slide = (ohm * found.friction_a.value).min(MOST_FRICTION_V);
    let rise = (ohm * (found.break_away_a.value - found.friction_a.value)).clamp(0.0, MOST_FRICTION_V);
    let emf = found.back_emf.map_or_else(
        || "not measured: friction hides it; the most that it can be".to_owned(),
        |value| format!("± {:.3e}, k = 2", value.uncertainty),
    );
    format!(
        "[settings.actuator]\ncounts_direction = \"{direction}\" # said twice by a person, unproven until the throat is gauged\n\
         sensor_min = {sensor_min}\nsensor_max = {sensor_max}\nnominal_span_counts = {span:.1} # ± {:.1}, k = 2\nspring = \"{}\"\n\
         winding_resistance_ohm = {ohm:.4} # ± {:.4}, k = 2, with bridge and leads, at the temperature of the measurement\n\
         back_emf_v_per_count_per_s = {:.4e} # {emf}\nmax_current = {most:.2}\nmax_duty = 1.0\nnominal_supply = {volts:.1} # said by a person\n\n\
         [settings.limits]\ncontinuous_current = {amps:.3} # said by a person\nheat_time_s = 20.0 # not measured\n\
         stall_current = {:.3}\nstall_travel_counts = {:.1}\nstall_ticks = 2500\nstalled_current = {:.3}\nbreak_away_ticks = 60\n\
         break_away_pause_ticks = 240\nend_stop_duty = 0.2\ncurrent_loop_gain = 0.2\n\n\
         # not tuned: `vanebench tune` proposes gains from recorded steps\n[settings.position]\nsliding_friction_v = {slide:.3}\nbreak_away_v = {rise:.3}\n\n",
        open.uncertainty.hypot(closed.uncertainty),
        spring_word(found.spring),
        found.resistance_ohm.uncertainty,
        found.back_emf_or_bound(),
        (1.2 * needed).min(0.95 * most),
        (0.002 * span).max(6.0 * found.noise_counts).max(LEAST_STALL_TRAVEL),
        (0.9 * needed).min(amps),
    )
}

/// How a learn moves this unit and what it believes of it, gentler and wider than of a kind that is known: one unit shows
/// neither how its friction creeps at a stop nor how units differ. Factors from trials on drawn plants.
fn belief_text(found: &Found) -> String {
    let (span, friction) = (found.span(), found.friction_a.value);
    let repeat = ((4.0 * found.noise_counts).max(friction * found.softest()) / span).clamp(0.003, 0.02);
    let rest = (3.0 * (6.5 * found.noise_counts + 1.0) / span).clamp(0.003, 0.02);
    let retreat = match found.spring {
        SpringAction::Closes => 0.06,
        SpringAction::None | SpringAction::Opens => 0.05,
    };
    // The softest that the stop may be would ask for more than the yield that was seen.
    let stuck = (found.stop_yield.value / LIVE_YIELD / span).clamp(0.0, 0.01);
    format!(
        "# provisional: gentler and wider than for a kind that is known\n[settings.learn.motion]\ntraverse_speed = 0.8\n\
         approach_speed = 0.15\nretreat = {retreat:.2}\n\n[settings.learn.limits]\nrepeat = {repeat:.4}\ndrift = {repeat:.4}\n\
         rest_noise = {rest:.4}\ncompliance_min = {stuck:.6}\nfriction = {:.3}\ndeadline_ticks = 40000\n\n",
        (3.25 * friction).clamp(0.05, 5.0)
    )
}

/// Provisional windows, the same in every setup and warmth: one unit in one setup says no more.
fn windows_text(found: &Found, (sensor_min, sensor_max): (i64, i64)) -> String {
    let (span, [open, closed]) = (found.span(), found.stops);
    let creeps = CREEPS * found.friction_a.value * found.stop_yield.value;
    let clip = |(min, max): (i64, i64)| (min.max(sensor_min), max.min(sensor_max));
    let ((closed_min, closed_max), (open_min, open_max)) =
        (clip(window(closed, span, creeps)), clip(window(open, span, creeps)));
    let mut out = String::new();
    for setup in ["free", "attached", "on_engine"] {
        for warmth in ["cold", "hot"] {
            let _ = writeln!(
                out,
                "[settings.learn.windows.{setup}.{warmth}]\nclosed = {{ min = {closed_min}, max = {closed_max} }}\nopen = {{ min = {open_min}, max = {open_max} }}"
            );
        }
    }
    out
}

const PLAN: &str = "
[plan.sweep]
points = 11
cycles = 3
preconditioning_cycles = 1
lowest = 0.02
highest = 0.98
dwell_ticks = 400
average_ticks = 100
reversals = [0.25, 0.5, 0.75]

[plan.step]
sizes_percent = [2.0, 10.0, 50.0]
centre = 0.5
hold_ticks = 1000

[plan.bands]
moved = 0.002
settled = 0.005
stroke_end = 0.02
";

/// A draft of limits: this unit's own values widened, for a person to set.
pub(crate) fn limits_text(name: &str, found: &Found) -> String {
    let span = found.span();
    format!(
        "# {MADE_BY} profile characterise. {HANDED_OVER}\n# A DRAFT from one unit: set your own from good units or a data sheet.\n\
         name = {name:?}\norigin = \"{OF_ONE_UNIT}: {name}. A draft.\"\n\n[limit.learn.span] # counts, ± 1.5 % of this unit's\nmin = {:.0}\nmax = {:.0}\n\
         [limit.learn.closed_stop_repeatability] # % of travel\nmax = 0.3\n[limit.learn.open_stop_repeatability]\nmax = 0.3\n\n\
         [limit.friction.largest] # A, 1.8 times this unit's\nmax = {:.3}\n",
        0.985 * span,
        1.015 * span,
        1.8 * found.friction_a.value
    )
}

/// The table for a person.
pub(crate) fn table(found: &Found) -> String {
    let mut out = String::new();
    let mut row = |what: &str, value: Option<Value>, digits: usize, unit: &str| {
        let _ = match value {
            Some(value) => {
                writeln!(out, "  {what:<26} {:.digits$} ± {:.digits$} {unit}", value.value, value.uncertainty)
            }
            None => writeln!(out, "  {what:<26} not measured: friction hides it"),
        };
    };
    let [open, closed] = found.stops;
    row("open stop", Some(open), 0, "counts");
    row("closed stop", Some(closed), 0, "counts");
    row("winding, bridge, leads", Some(found.resistance_ohm), 3, "Ω");
    row("friction", Some(found.friction_a), 3, "A");
    row("break-away", Some(found.break_away_a), 3, "A");
    row("spring, least", Some(found.spring_a[0]), 3, "A");
    row("spring, most", Some(found.spring_a[1]), 3, "A");
    row("yield of the softer stop", Some(found.stop_yield), 1, "counts/A");
    row(
        "back-EMF at 1 travel/s",
        found.back_emf.map(|one| Value {
            value: one.value * found.span(),
            uncertainty: one.uncertainty * found.span(),
        }),
        3,
        "V",
    );
    let _ = write!(
        out,
        "  spring                     {}\n  travel                     {:.0} counts\n  noise                      {:.2} counts\n  took {:.0} s; at most {:.2} A; a stop met at {:.2} travel/s",
        spring_word(found.spring),
        found.span(),
        found.noise_counts,
        found.seconds,
        found.largest_current_a,
        found.stop_speed
    );
    out
}
