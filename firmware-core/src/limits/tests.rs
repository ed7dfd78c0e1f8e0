extern crate std;

use super::*;
use crate::position::speed::Speed;
use proptest::prelude::*;

mod heat;

/// A motor with a lever that nothing but friction holds; its winding settles within a tick.
#[derive(Debug, Clone, Copy)]
struct Motor {
    /// Resistance, torque constant and dead time against what the settings say.
    resistance: f32,
    torque: f32,
    dead_time: f32,
    /// Opening/s² that one ampere makes, and that friction takes.
    per_a: f32,
    friction: f32,
    supply: f32,
    counts: f32,
    counts_per_s: f32,
    amperes: f32,
}

/// Counts/s² for one ampere at the bench actuator's lever: 0.864 N m over 5.32e-3 kg m², 8758 counts/rad.
const PER_A: f32 = 1.42e6;

impl Motor {
    const SOUND: Self = Self {
        resistance: 1.0,
        torque: 1.0,
        dead_time: 0.0,
        per_a: PER_A,
        friction: 0.3 * PER_A,
        supply: 12.0,
        counts: 8000.0,
        counts_per_s: 0.0,
        amperes: 0.0,
    };

    /// Held: no torque turns it.
    const HELD: Self = Self { per_a: 0.0, ..Self::SOUND };

    fn tick(&mut self, settings: &Settings, duty: f32) {
        let actuator = &settings.actuator;
        let sign = actuator.counts_direction.sign();
        let emf = sign * self.counts_per_s * actuator.back_emf_v_per_count_per_s * self.torque;
        let left = libm::copysignf(libm::fmaxf(libm::fabsf(duty) - self.dead_time, 0.0), duty);
        let volts = left * self.supply;
        self.amperes = if duty == 0.0 {
            0.0
        } else {
            (volts - emf) / (actuator.winding_resistance_ohm * self.resistance)
        };
        self.counts_per_s += sign * self.amperes * self.per_a * self.torque * TICK_SECONDS;
        let slower = libm::fmaxf(libm::fabsf(self.counts_per_s) - self.friction * TICK_SECONDS, 0.0);
        self.counts_per_s = libm::copysignf(slower, self.counts_per_s);
        self.counts += self.counts_per_s * TICK_SECONDS;
        if !(1000.0..=15_000.0).contains(&self.counts) {
            self.counts = self.counts.clamp(1000.0, 15_000.0);
            self.counts_per_s = 0.0;
        }
    }
}

/// Motor, limits and what is read of the current.
struct Rig {
    settings: Settings,
    motor: Motor,
    limits: LimitMemory,
    speed: Speed,
    /// What the channel makes of the current.
    reading: fn(f32) -> f32,
    last: Limited,
}

impl Rig {
    fn new(motor: Motor, reading: fn(f32) -> f32) -> Self {
        Self {
            settings: Settings::default(),
            motor,
            limits: LimitMemory::default(),
            speed: Speed::default(),
            reading,
            last: Limited { duty: Duty::ZERO, limits: LimitSet::NONE, faults: FaultSet::NONE },
        }
    }

    fn tick(&mut self, duty: f32) -> FaultSet {
        let actuator = &self.settings.actuator;
        let position = Some(Counts(self.motor.counts as i16));
        let counts_per_s = self.speed.tick(position) * actuator.counts_direction.sign();
        let drive = DriveNow {
            supply: Volt(self.motor.supply),
            back_emf: Volt(counts_per_s * actuator.back_emf_v_per_count_per_s),
            motor_current: Some(Ampere((self.reading)(self.motor.amperes))),
            position,
            max_current: actuator.max_current,
        };
        let wanted = Duty::saturating(duty, Duty::ZERO);
        self.last = self.limits.tick(&self.settings, &drive, wanted, Push::Normal);
        self.motor.tick(&self.settings, self.last.duty.get());
        self.last.faults
    }
}

fn sound(amperes: f32) -> f32 {
    amperes
}

prop_compose! {
    fn spread_motor()(
        resistance in 0.69f32..1.75,
        torque in 0.9f32..1.1,
        dead_time in 0.0f32..0.04,
        heavy in 0.2f32..2.0,
        friction in 0.1f32..1.0,
        supply in 8.0f32..16.0,
    ) -> Motor {
        let (per_a, friction) = (PER_A / heavy, friction * PER_A / heavy);
        Motor { resistance, torque, dead_time, per_a, friction, supply, ..Motor::SOUND }
    }
}

proptest! {
    #[test]
    fn a_sound_unit_is_never_told_that_its_current_is_wrong(
        motor in spread_motor(),
        duties in prop::collection::vec((-1.0f32..=1.0, 1usize..300), 1..20),
    ) {
        let mut rig = Rig::new(motor, sound);
        for (duty, ticks) in duties {
            // Every third is a release: the lever coasts.
            let duty = if ticks.is_multiple_of(3) { 0.0 } else { duty };
            for _ in 0..ticks {
                let mut faults = rig.tick(duty);
                faults.assign(Fault::Stalled, false);
                prop_assert!(faults.is_empty(), "{faults:?} at {duty} with {:?}", rig.motor);
            }
        }
    }

    #[test]
    fn an_open_winding_is_named_within_a_tenth_of_a_second_of_a_sure_push(
        duty in 0.35f32..=1.0,
        closing: bool,
    ) {
        let mut rig = Rig::new(Motor { resistance: 1.0e9, ..Motor::SOUND }, sound);
        let duty = if closing { -duty } else { duty };
        let named = (0..200).position(|_| rig.tick(duty).contains(Fault::CurrentMissing));
        prop_assert!(named.is_some_and(|tick| tick <= 100), "{named:?}");
        // Nothing is asked for any more, so nothing is missing: the next push judges anew.
        rig.tick(0.0);
        prop_assert!(!rig.tick(0.0).contains(Fault::CurrentMissing));
    }

    #[test]
    fn a_winding_of_less_resistance_draws_no_more_than_the_limit_once_ten_readings_are_in(
        resistance in 0.05f32..1.0,
        duty in -1.0f32..=1.0,
        supply in 8.0f32..16.0,
    ) {
        let mut rig = Rig::new(Motor { resistance, supply, ..Motor::HELD }, sound);
        let most = rig.settings.actuator.max_current.0;
        for tick in 0..1500 {
            rig.tick(duty);
            let amperes = rig.motor.amperes.abs();
            // A cut gives back 0.2 % of the resistance in a tick, of which a short has little.
            prop_assert!(tick < 10 || amperes <= most * (1.0 + 0.0021 / resistance), "{amperes} A at {tick}");
        }
    }
}

#[test]
fn a_short_is_named_and_keeps_the_limit() {
    let mut rig = Rig::new(Motor { resistance: 0.1, ..Motor::HELD }, sound);
    let named = (0..500).position(|_| rig.tick(0.8).contains(Fault::OverCurrent));
    assert!(named.is_some_and(|tick| tick <= 110), "{named:?}");
    assert!(rig.last.limits.contains(Limit::Current));
    assert!(rig.motor.amperes <= 1.05 * rig.settings.actuator.max_current.0);
}

#[test]
fn a_cold_winding_is_cut_back_without_a_fault() {
    let mut rig = Rig::new(Motor { resistance: 0.7, ..Motor::HELD }, sound);
    for _ in 0..1000 {
        assert_eq!(rig.tick(1.0), FaultSet::NONE);
    }
    let most = rig.settings.actuator.max_current.0;
    assert!((0.98 * most..=1.01 * most).contains(&rig.motor.amperes), "{} A", rig.motor.amperes);
}

#[test]
fn a_reading_stuck_over_the_limit_is_found_out_and_the_drive_goes_on_without_it() {
    let mut rig = Rig::new(Motor::HELD, |_| 5.0);
    let named = (0..500).position(|_| rig.tick(0.3).contains(Fault::CurrentRange));
    assert!(named.is_some_and(|tick| tick <= 60), "{named:?}");
    assert_eq!(rig.last.duty, Duty::saturating(0.3, Duty::ZERO));
    rig.reading = sound;
    let healed = (0..2000).position(|_| rig.tick(0.3).is_empty());
    assert!(healed.is_some_and(|tick| tick <= 500), "{healed:?}");
}
