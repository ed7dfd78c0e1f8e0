//! Controller settings that follow from what a profile says of a sound unit, each by one written rule.
//!
//! In: winding, gear, supply, travel in counts, and the currents, yield and noise of a sound unit. Out: settings, each
//! with the rule that made it. What a profile gives itself is left alone. Factors without a source come from trials on
//! some 300 invented units; they are chosen so that bench actuator A gets the controller's defaults.

use firmware_core::settings::{ActuatorSettings, PositionSettings, Settings, SpringAction};
use serde::Deserialize;

use plant::toml_file::{TomlError, TomlFile};

use super::NEXT;

/// What the signals of a sound unit show, from a data sheet or from measuring good ones.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SoundUnit {
    /// Current that friction takes while the lever moves, A, 0.005 to 10.
    pub(crate) friction_a: f64,
    /// Current that friction takes before the lever moves, A, at least `friction_a` and at most 20.
    pub(crate) break_away_a: f64,
    /// Current that balances the return spring where it is weakest, A, 0 to 20; 0 without a spring.
    pub(crate) spring_least_a: f64,
    /// The same where it is strongest, A, at least `spring_least_a` and at most 20.
    pub(crate) spring_most_a: f64,
    /// Yield of a stop, counts for each ampere, 0.05 to 2000.
    pub(crate) stop_yield_counts_per_a: f64,
    /// Standard deviation of the reading at rest, counts, 0 to 200.
    pub(crate) noise_counts: f64,
}

impl SoundUnit {
    pub(super) fn check(&self, file: &TomlFile) -> Result<(), TomlError> {
        let check = |field: &str, value: f64, least: f64, most: f64| match (least..=most).contains(&value) {
            true => Ok(()),
            false => {
                Err(file.refuse(&format!("sound_unit.{field}"), format!("allowed {least} to {most}"), NEXT))
            }
        };
        check("friction_a", self.friction_a, 0.005, 10.0)?;
        check("break_away_a", self.break_away_a, self.friction_a, 20.0)?;
        check("spring_least_a", self.spring_least_a, 0.0, 20.0)?;
        check("spring_most_a", self.spring_most_a, self.spring_least_a, 20.0)?;
        check("stop_yield_counts_per_a", self.stop_yield_counts_per_a, 0.05, 2000.0)?;
        check("noise_counts", self.noise_counts, 0.0, 200.0)
    }
}

/// A setting that follows.
#[derive(Debug, Clone)]
pub(crate) struct Derived {
    /// Section and field, as below `settings` in a profile.
    pub(crate) field: &'static str,
    /// Its value, in the setting's own unit.
    pub(crate) value: f64,
    /// How it follows.
    pub(crate) rule: &'static str,
    place: fn(&mut Settings) -> &mut f32,
}

impl Derived {
    /// Puts it into settings.
    pub(super) fn put(&self, settings: &mut Settings) {
        *(self.place)(settings) = self.value as f32;
    }

    /// What settings hold in its place.
    #[must_use]
    pub(crate) fn held(&self, settings: &Settings) -> f32 {
        let mut settings = *settings;
        *(self.place)(&mut settings)
    }
}

/// Currents that decide whether a learn has force to spare, A.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reserve {
    /// What moving a unit at the limit of soundness needs: 1.25 times friction and spring.
    pub(crate) needed_a: f64,
    /// What a low supply drives through a warm winding: 0.88 × 0.85 V / 1.12 R.
    pub(crate) available_a: f64,
    /// What is left, in shares of the friction current; below 2 sound units are refused.
    pub(crate) ratio: f64,
}

/// Reserve from which learning a sound unit is to be relied on.
pub(crate) const LEAST_RESERVE: f64 = 2.0;

/// Force to spare on this unit.
#[must_use]
pub(crate) fn reserve(actuator: &ActuatorSettings, unit: &SoundUnit) -> Reserve {
    let needed_a = 1.25 * unit.break_away_a.max(unit.friction_a + unit.spring_most_a);
    let (volts, ohm) = (f64::from(actuator.nominal_supply.0), f64::from(actuator.winding_resistance_ohm));
    let available_a = (0.88 * 0.85 * volts / (1.12 * ohm)).min(f64::from(actuator.max_current.0));
    Reserve { needed_a, available_a, ratio: (available_a - needed_a) / unit.friction_a }
}

/// All settings that follow.
#[must_use]
pub(crate) fn derive(settings: &Settings, unit: &SoundUnit) -> Vec<Derived> {
    let (actuator, position) = (&settings.actuator, &settings.position);
    [
        pushes(settings, unit),
        run_up(actuator),
        belief(settings, unit),
        supply(actuator),
        path(actuator, position),
    ]
    .concat()
}

/// A field of the settings: its path, and where it is.
macro_rules! follows {
    ($first:ident $(. $rest:ident)+ $(; $unit:tt)?, $value:expr, $rule:expr $(,)?) => {
        Derived {
            field: concat!(stringify!($first) $(, ".", stringify!($rest))+),
            value: rounded($value, 2),
            rule: $rule,
            place: |settings| &mut settings.$first$(.$rest)+$(.$unit)?,
        }
    };
}

/// A value to so many digits: a setting carries no more than is known of the unit.
fn rounded(value: f64, digits: i32) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let unit = 10_f64.powi(digits - 1 - value.abs().log10().floor() as i32);
    (value * unit).round() / unit
}

/// The small and the large push, A on top of what moving takes.
fn two_pushes(settings: &Settings, unit: &SoundUnit) -> [f64; 2] {
    let Reserve { needed_a, available_a, .. } = reserve(&settings.actuator, unit);
    let cool_a = MOST_HEAT * f64::from(settings.limits.continuous_current.0) - needed_a;
    let spare_a =
        (available_a - needed_a).min(cool_a.max(LEAST_SEEN * unit.friction_a)).max(0.5 * unit.friction_a);
    let seen_a = 6.0 * settled_counts(unit) / unit.stop_yield_counts_per_a / (1.0 - SMALL_SHARE);
    let large = rounded((4.8 * unit.friction_a).max(seen_a).min(spare_a), 2);
    let small = rounded((SMALL_SHARE * large).max(0.3 * needed_a).min(0.6 * large), 2);
    [small, large]
}

/// Current of a push in shares of the continuous one: a second of it still leaves the heat limit alone.
const MOST_HEAT: f64 = 2.7;
/// Least large push in shares of friction, whatever its heat: below, friction hides the yield.
const LEAST_SEEN: f64 = 3.0;
/// The small push in shares of the large one.
const SMALL_SHARE: f64 = 0.42;

/// Standard deviation of the difference of two settled readings, 24 ticks each, of a unit twice as noisy, counts. A
/// reading in whole counts is uncertain by 1/√12 of one besides its noise.
fn settled_counts(unit: &SoundUnit) -> f64 {
    2.0 * unit.noise_counts.hypot(1.0 / 12_f64.sqrt()) * (2.0_f64 / 24.0).sqrt()
}

fn approach_current(actuator: &ActuatorSettings, unit: &SoundUnit, small: f64) -> f64 {
    let Reserve { needed_a, available_a, .. } = reserve(actuator, unit);
    let is_weak = volts_per_travel_s(actuator) < 0.3 * f64::from(actuator.winding_resistance_ohm) * needed_a;
    if is_weak { available_a } else { (1.4 * needed_a + small).min(available_a) }
}

/// Back-EMF at 1 travel/s, V.
fn volts_per_travel_s(actuator: &ActuatorSettings) -> f64 {
    f64::from(actuator.back_emf_v_per_count_per_s) * f64::from(actuator.nominal_span_counts)
}

/// Two pushes that friction cannot hide, on top of a current that runs any sound unit.
fn pushes(settings: &Settings, unit: &SoundUnit) -> Vec<Derived> {
    let (actuator, [small, large]) = (&settings.actuator, two_pushes(settings, unit));
    vec![
        follows!(
            learn.motion.large_push; 0,
            large,
            "4.8 × friction, so that friction hides about a fifth of it, or enough to make the yield six times its \
             noise; at most what the reserve and 2.7 × the continuous current leave",
        ),
        follows!(
            learn.motion.small_push; 0,
            small,
            "0.42 × large push, at least 0.3 × needed current, at most 0.6 × large push: low enough that \
             the difference shows the yield",
        ),
        follows!(
            learn.motion.approach_current; 0,
            approach_current(actuator, unit, small),
            "1.4 × needed current + small push, at most the available current; exactly the available \
             current where the back-EMF at 1 travel/s is below 0.3 R × needed current",
        ),
        follows!(
            learn.limits.push_error; 0,
            large / 6.0,
            "a sixth of the large push: a smaller error is no sign of a fault",
        ),
        follows!(
            learn.limits.friction; 0,
            (2.2 * unit.friction_a).min(5.0),
            "2.2 × friction of a sound unit, at most 5 A",
        ),
        follows!(
            learn.limits.spring_current; 0,
            0.15 * (unit.spring_least_a + unit.spring_most_a),
            "0.3 × mean spring current: a weaker spring is broken or missing",
        ),
    ]
}

/// The closed stop is learned first. A lever that its spring pulls there has to be held back before it runs evenly.
fn run_up(actuator: &ActuatorSettings) -> Vec<Derived> {
    let retreat = match actuator.spring {
        SpringAction::Closes => 0.06,
        SpringAction::None | SpringAction::Opens => 0.03,
    };
    vec![follows!(
        learn.motion.retreat,
        retreat,
        "0.03; 0.06 where the spring closes: a lever driven by its spring takes longer to run evenly",
    )]
}

/// What makes a stop believable, from yield, noise and resolution.
fn belief(settings: &Settings, unit: &SoundUnit) -> Vec<Derived> {
    let span = f64::from(settings.actuator.nominal_span_counts);
    let [small, large] = two_pushes(settings, unit);
    let scatter = settled_counts(unit) / (large - small).max(1e-3);
    let flicker = 6.5 * unit.noise_counts + 1.0;
    let sigma = unit.noise_counts.hypot(1.0 / 12_f64.sqrt());
    let hidden = 0.5 * unit.friction_a * unit.stop_yield_counts_per_a;
    let repeat = rounded(((4.0 * sigma).max(hidden) / span).max(0.002), 2);
    vec![
        follows!(
            learn.limits.compliance_max,
            ((1.55 * unit.stop_yield_counts_per_a + 2.0 * scatter) / span).min(0.05),
            "1.55 × (yield of a sound stop) + 2 σ of its measurement, at most 5 % of travel: more means soot, a bent stop or a \
             loose mount",
        ),
        follows!(
            learn.limits.compliance_min,
            rounded(unit.stop_yield_counts_per_a / span / 7.0, 1),
            "a seventh of the yield of a sound stop: less means that the sensor does not follow",
        ),
        follows!(
            learn.limits.rest_noise,
            (1.7 * flicker / span).max(0.002),
            "1.7 × (6.5 σ + 1 count), at least 0.2 % of travel",
        ),
        follows!(
            learn.limits.repeat,
            repeat,
            "4 σ of a reading or the yield under half the friction, whichever is larger; at least 0.2 % of \
             travel",
        ),
        follows!(learn.limits.drift, 0.6 * repeat, "0.6 × repeat"),
        follows!(
            learn.limits.jump,
            (flicker / span + 0.01).max(0.012),
            "10 travel/s + noise, at least 1.2 % of travel in a tick",
        ),
        follows!(
            plausibility.position_step_counts,
            0.0177 * span + flicker,
            "17.7 travel/s + noise: no lever is that fast",
        ),
    ]
}

fn supply(actuator: &ActuatorSettings) -> Vec<Derived> {
    let volts = f64::from(actuator.nominal_supply.0);
    vec![
        follows!(learn.limits.supply_min; 0, 0.75 * volts, "0.75 × nominal supply"),
        follows!(learn.limits.supply_max; 0, 1.35 * volts, "1.35 × nominal supply"),
        follows!(plausibility.supply_min; 0, 0.58 * volts, "0.58 × nominal supply: the bridge's drivers may drop out"),
        follows!(plausibility.supply_max; 0, 1.5 * volts, "1.5 × nominal supply"),
    ]
}

/// A path that the motor can follow on its supply.
fn path(actuator: &ActuatorSettings, position: &PositionSettings) -> Vec<Derived> {
    let volts = f64::from(actuator.nominal_supply.0);
    let inertia = f64::from(position.inertia_v_s2).max(1e-9);
    vec![
        follows!(
            position.path_speed_per_s,
            (0.62 * volts / volts_per_travel_s(actuator)).min(7.0),
            "0.62 × no-load speed at nominal supply, at most 7 travel/s",
        ),
        follows!(
            position.path_acceleration_per_s2,
            (0.3 * volts / inertia).min(300.0),
            "0.3 × acceleration at nominal supply, at most 300 travel/s²",
        ),
    ]
}
