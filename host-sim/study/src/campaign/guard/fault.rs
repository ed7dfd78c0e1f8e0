//! The named faults, and a random world around each: one fault or two, at drawn times.

use rand::{Rng, RngExt};
use serde::{Deserialize, Serialize};

use super::demand::{DrawnDrive, DriveKind};
use plant::actuator::{LeverJoint, Obstruction, StopParams, TravelEnd};
use plant::airpath::{FuelResponse, Switchable};
use plant::friction::RingCondition;
use plant::sensor::{ChannelFault, PositionFault};
use plant::world::{Fault, FaultKind, WorldConfig};

macro_rules! named {
    ($($(#[$doc:meta])* $item:ident => $name:literal),+ $(,)?) => {
        /// A fault of the campaign.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        pub enum GuardFault { $($(#[$doc])* $item),+ }

        impl GuardFault {
            /// Every fault, in the order of the table.
            pub const ALL: [Self; [$(Self::$item),+].len()] = [$(Self::$item),+];

            /// Name in the table.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self { $(Self::$item => $name),+ }
            }
        }
    };
}

named!(
    /// Nothing is wrong.
    Sound => "none",
    /// Ring seized where it stands.
    Seized => "ring-seized",
    /// Soot: break-away friction four times the clean one.
    Sooted => "ring-sooted",
    /// Something keeps the ring from opening, or forces it shut.
    Blocked => "ring-blocked",
    /// Motor winding broken; the spring opens.
    WindingOpen => "winding-open",
    /// Motor leads swapped.
    MotorReversed => "motor-reversed",
    /// No supply; the spring opens.
    SupplyLost => "supply-lost",
    /// Supply at 6 V.
    BrownOut => "brown-out",
    /// Return spring broken.
    SpringBroken => "spring-broken",
    /// No supply and no spring.
    Powerless => "supply-and-spring-lost",
    /// Rod off: the ring stands where friction and gas leave it.
    RodOff => "rod-off",
    /// Position sensor keeps its last reading.
    PositionFrozen => "position-frozen",
    /// Position sensor wire broken.
    PositionLost => "position-lost",
    /// Position sensor slipped on its shaft: reads more open than it is.
    PositionSlipped => "position-slipped",
    /// Boost reads too low by an offset.
    BoostLow => "boost-reads-low",
    /// Boost reads a share of the true gauge pressure.
    BoostGainLow => "boost-gain-low",
    /// Boost creeps downward.
    BoostDrift => "boost-drifts-down",
    /// Boost keeps its last reading.
    BoostFrozen => "boost-frozen",
    /// Boost wire broken: reads 0.
    BoostLost => "boost-lost",
    /// Boost reading is not a number.
    BoostNan => "boost-not-a-number",
    /// Boost wire shorted: reads the top of the range.
    BoostTop => "boost-at-top",
    /// Single wild boost readings.
    BoostGlitch => "boost-glitches",
    /// Barometer wire broken.
    BarometerLost => "barometer-lost",
    /// Turbo speed sensor dead.
    SpeedLost => "turbo-speed-lost",
    /// Turbo speed reads half: missed teeth.
    SpeedHalf => "turbo-speed-half",
    /// Exhaust pressure sensor dead.
    ExhaustLost => "exhaust-lost",
    /// Motor current sensor dead.
    CurrentLost => "current-lost",
    /// Boost hose leaks.
    HoseLeak => "hose-leak",
    /// Boost hose clogged.
    HoseBlocked => "hose-blocked",
);

impl GuardFault {
    /// A sensor that is to fail is fitted.
    fn fit_its_sensor(self, world: &mut WorldConfig) {
        if matches!(self, Self::SpeedLost | Self::SpeedHalf) {
            world.sensors.turbo_speed.fitted = true;
        }
        if self == Self::ExhaustLost {
            world.sensors.exhaust.fitted = true;
        }
    }

    fn draw(self, rng: &mut impl Rng) -> Vec<FaultKind> {
        use FaultKind as K;
        match self {
            Self::Sound => vec![],
            Self::Seized => vec![K::Ring(RingCondition::Seized)],
            Self::Sooted => vec![K::Ring(RingCondition::Sooted)],
            Self::Blocked => vec![K::Obstruction(Obstruction {
                shuts_off: TravelEnd::Low,
                stop: StopParams {
                    angle_rad: rng.random_range(0.3..1.15),
                    stiffness_nm_per_rad: 400.0,
                    damping_nm_s_per_rad: 0.6,
                },
            })],
            Self::WindingOpen => vec![K::WindingOpen],
            Self::MotorReversed => vec![K::MotorReversed],
            Self::SupplyLost => vec![K::Supply(0.0)],
            Self::BrownOut => vec![K::Supply(6.0)],
            Self::SpringBroken => vec![K::SpringBroken],
            Self::Powerless => vec![K::Supply(0.0), K::SpringBroken],
            Self::RodOff => vec![K::RodOff],
            Self::PositionFrozen => vec![position(ChannelFault::Freeze)],
            Self::PositionLost => vec![position(ChannelFault::DropOut(0.0))],
            // Opening lowers counts on bench actuator A.
            Self::PositionSlipped => {
                vec![position(ChannelFault::Offset(-rng.random_range(500.0..3500.0)))]
            }
            Self::BoostLow => vec![K::BoostSensor(ChannelFault::Offset(-rng.random_range(10.0..80.0)))],
            Self::BoostGainLow => vec![K::BoostSensor(ChannelFault::Gain(rng.random_range(0.6..0.95)))],
            Self::BoostDrift => vec![K::BoostSensor(ChannelFault::Drift(-rng.random_range(2.0..20.0)))],
            Self::BoostFrozen => vec![K::BoostSensor(ChannelFault::Freeze)],
            Self::BoostLost => vec![K::BoostSensor(ChannelFault::DropOut(0.0))],
            Self::BoostNan => vec![K::BoostSensor(ChannelFault::DropOut(f64::NAN))],
            Self::BoostTop => vec![K::BoostSensor(ChannelFault::DropOut(400.0))],
            Self::BoostGlitch => vec![K::BoostSensor(ChannelFault::Glitch { per_s: 20.0, size: 120.0 })],
            Self::BarometerLost => vec![K::Barometer(ChannelFault::DropOut(0.0))],
            Self::SpeedLost => vec![K::TurboSpeedSensor(ChannelFault::DropOut(f64::NAN))],
            Self::SpeedHalf => vec![K::TurboSpeedSensor(ChannelFault::Gain(0.5))],
            Self::ExhaustLost => vec![K::ExhaustSensor(ChannelFault::DropOut(0.0))],
            Self::CurrentLost => vec![K::CurrentSensor(ChannelFault::DropOut(f64::NAN))],
            Self::HoseLeak => vec![K::HoseLeakMm2(rng.random_range(20.0..300.0))],
            Self::HoseBlocked => vec![K::HoseBlockedKpa(rng.random_range(20.0..100.0))],
        }
    }
}

fn position(fault: ChannelFault) -> FaultKind {
    FaultKind::PositionSensor(PositionFault::Channel(fault))
}

/// One drawn world: what is wrong, what surrounds it, what the driver does.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnWorld {
    /// What is wrong.
    pub fault: GuardFault,
    /// What else is wrong, in some worlds.
    pub second: Option<GuardFault>,
    /// The world.
    pub world: WorldConfig,
    /// What the driver does.
    pub drive: DrawnDrive,
}

/// Share of the worlds with a fault that have a second one.
const SECOND_FAULT_SHARE: f64 = 0.3;

impl DrawnWorld {
    /// Draws the world around a fault and a kind of drive.
    #[must_use]
    pub fn draw(fault: GuardFault, drive: DriveKind, rng: &mut impl Rng) -> Self {
        let mut world = WorldConfig {
            altitude_m: rng.random_range(0.0..3000.0),
            air_c: Some(rng.random_range(-20.0..45.0)),
            ..WorldConfig::default()
        };
        draw_actuator(&mut world, rng);
        draw_engine(&mut world, rng);
        draw_sensors(&mut world, rng);
        if fault != GuardFault::Sound {
            sharpen(&mut world, rng);
        }
        let other = GuardFault::ALL[rng.random_range(1..GuardFault::ALL.len())];
        let has_second = rng.random_bool(SECOND_FAULT_SHARE) && fault != GuardFault::Sound && other != fault;
        let second = has_second.then_some(other);
        for fault in [Some(fault), second].into_iter().flatten() {
            fault.fit_its_sensor(&mut world);
            let at_s = rng.random_range(0.5..8.0);
            let kinds = fault.draw(rng);
            world.faults.extend(kinds.into_iter().map(|what| Fault { at_s, until_s: None, what }));
        }
        let drive = DrawnDrive::draw(drive, world.altitude_m, rng);
        Self { fault, second, world, drive }
    }
}

fn draw_actuator(world: &mut WorldConfig, rng: &mut impl Rng) {
    let actuator = &mut world.actuator;
    let friction = &mut actuator.ring.friction;
    let rub = rng.random_range(0.7..1.5);
    friction.coulomb *= rub;
    friction.breakaway *= rub * rng.random_range(1.0..1.2);
    actuator.linkage = LeverJoint::with_play_deg(rng.random_range(0.0..1.0));
    actuator.motor.resistance_ohm *= rng.random_range(0.92..1.08);
    actuator.motor.torque_constant_nm_per_a *= rng.random_range(0.95..1.05);
    actuator.bridge.supply_v = rng.random_range(10.5..15.0);
    if let Some(spring) = &mut actuator.spring {
        spring.preload_nm *= rng.random_range(0.8..1.2);
        spring.rate_nm_per_rad *= rng.random_range(0.8..1.2);
    }
}

fn draw_engine(world: &mut WorldConfig, rng: &mut impl Rng) {
    let engine = &mut world.engine;
    engine.air.rotor_inertia_kg_m2 *= rng.random_range(0.9..1.1);
    engine.air.nozzle_min_m2 *= rng.random_range(0.95..1.05);
    engine.air.nozzle_max_m2 *= rng.random_range(0.97..1.03);
    engine.air.compressor_best *= rng.random_range(0.97..1.03);
    engine.air.turbine_best *= rng.random_range(0.97..1.03);
    engine.air.blade_speed_best *= rng.random_range(0.96..1.04);
    let vane_fall = rng.random_range(0.7..1.3);
    engine.air.closed_fall *= vane_fall;
    engine.air.open_fall *= vane_fall;
    if let Switchable::On(soak) = &mut engine.effects.heat_soak {
        soak.gas_wall_w_per_k *= rng.random_range(0.7..1.3);
    }
    if let Switchable::On(cooler) = &mut engine.effects.cooler {
        cooler.effectiveness *= rng.random_range(0.9..1.1);
    }
    engine.fuel_response = match rng.random_range(0..10) {
        0..=5 => FuelResponse::Obeys,
        6..=7 => FuelResponse::Late(rng.random_range(0.05..0.5)),
        _ => FuelResponse::Refuses,
    };
}

/// An engine with more to lose: more heat in the exhaust than its boost map was made for, and vanes that close
/// further. On an even draw alone hardly any fault leads to a limit.
fn sharpen(world: &mut WorldConfig, rng: &mut impl Rng) {
    let air = &mut world.engine.air;
    air.exhaust_heat_share *= rng.random_range(1.0..1.25);
    air.nozzle_min_m2 *= rng.random_range(0.6..1.0);
}

fn draw_sensors(world: &mut WorldConfig, rng: &mut impl Rng) {
    let sensors = &mut world.sensors;
    sensors.boost.offset = rng.random_range(-1.5..1.5);
    sensors.boost.gain = rng.random_range(0.99..1.01);
    sensors.boost.noise *= rng.random_range(0.5..3.0);
    sensors.position.noise_counts *= rng.random_range(0.5..3.0);
    sensors.turbo_speed.fitted = rng.random_bool(0.5);
    sensors.exhaust.fitted = rng.random_bool(0.5);
}
