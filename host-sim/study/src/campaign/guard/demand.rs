//! What driver and road ask for: drives of several kinds that lead the guard to its limits.
//!
//! In: a kind and a generator. Out: points of demand over one run, drawn within invented ranges.

use firmware_core::sample::EngineDemand;
use firmware_core::units::{Kilopascal, Load, Rpm};
use rand::{Rng, RngExt};

use crate::scenario::{Demand, DemandCursor, DemandPoint, Shape, VaneUse, wanted_boost_kpa};

/// A kind of drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DriveKind {
    /// From a cruise to full load and high speed.
    FullLoad,
    /// Full load, pedal up, full load again.
    LiftOff,
    /// Full load through the gears.
    GearShifts,
    /// Exhaust brake, then full load.
    ExhaustBrake,
    /// Recirculation opens and shuts under part and full load.
    Recirculation,
    /// Full load while the air grows thin.
    Climb,
    /// Engine stops, starts again and pulls.
    Restart,
}

impl DriveKind {
    /// Every kind, in the order in which worlds take turns.
    pub const ALL: [Self; 7] = [
        Self::FullLoad,
        Self::LiftOff,
        Self::GearShifts,
        Self::ExhaustBrake,
        Self::Recirculation,
        Self::Climb,
        Self::Restart,
    ];

    /// Name in tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::FullLoad => "full-load",
            Self::LiftOff => "lift-off",
            Self::GearShifts => "gear-shifts",
            Self::ExhaustBrake => "exhaust-brake",
            Self::Recirculation => "recirculation",
            Self::Climb => "climb",
            Self::Restart => "restart",
        }
    }
}

/// One drawn drive.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnDrive {
    /// Its kind.
    pub kind: DriveKind,
    points: Vec<DemandPoint>,
}

/// Time over which the pedal goes down, s.
const PEDAL_S: f64 = 0.15;
/// Fuel at full load, mg per stroke; the drawn engines share it.
const FULL_LOAD_MG: f64 = 40.0;
/// Full load that the engine's own control gives up for each metre of altitude: common practice, size invented.
const DERATE_PER_M: f64 = 1e-4;
/// Below this speed the engine stands.
const STANDING_RPM: f64 = 100.0;

impl DrawnDrive {
    pub(super) fn draw(kind: DriveKind, altitude_m: f64, rng: &mut impl Rng) -> Self {
        let cruise = SpeedAndLoad { rpm: rng.random_range(1200.0..2200.0), load: rng.random_range(0.2..0.6) };
        let climb_m = rng.random_range(500.0..1500.0);
        let highest_m = if kind == DriveKind::Climb { altitude_m + climb_m } else { altitude_m };
        let full = SpeedAndLoad {
            rpm: rng.random_range(2000.0..3600.0),
            load: rng.random_range(0.8..1.0) * (1.0 - DERATE_PER_M * highest_m),
        };
        let mut course = DriveCourse::new(cruise);
        course.hold(rng.random_range(0.5..2.0));
        match kind {
            DriveKind::FullLoad => course.pull(full, 2.0),
            DriveKind::LiftOff => lift_off(&mut course, full, rng),
            DriveKind::GearShifts => gear_shifts(&mut course, full, rng),
            DriveKind::ExhaustBrake => exhaust_brake(&mut course, full, rng),
            DriveKind::Recirculation => recirculation(&mut course, full, rng),
            DriveKind::Climb => {
                course.pull(full, 1.0);
                course.climb(altitude_m, climb_m, 6.0);
            }
            DriveKind::Restart => restart(&mut course, full, rng),
        }
        Self { kind, points: course.points }
    }

    pub(super) fn cursor(&self) -> DemandCursor<'_> {
        DemandCursor::new(&self.points)
    }
}

fn lift_off(course: &mut DriveCourse, full: SpeedAndLoad, rng: &mut impl Rng) {
    course.pull(full, 1.0);
    course.hold(rng.random_range(1.0..3.0));
    course.pull(SpeedAndLoad { load: 0.0, ..full }, 0.1);
    course.hold(rng.random_range(0.3..1.5));
    course.pull(full, PEDAL_S);
}

fn gear_shifts(course: &mut DriveCourse, full: SpeedAndLoad, rng: &mut impl Rng) {
    for _ in 0..3 {
        course.pull(full, rng.random_range(1.0..2.0));
        course.pull(SpeedAndLoad { load: 0.0, ..full }, 0.1);
        course.hold(0.3);
        course.pull(SpeedAndLoad { rpm: 0.72 * full.rpm, ..full }, PEDAL_S);
    }
}

fn exhaust_brake(course: &mut DriveCourse, full: SpeedAndLoad, rng: &mut impl Rng) {
    course.pull(full, 1.0);
    course.pull(SpeedAndLoad { load: 0.0, ..full }, 0.1);
    course.use_vanes(VaneUse::Brake);
    course.hold(rng.random_range(2.0..4.0));
    course.pull(full, PEDAL_S);
    course.use_vanes(VaneUse::Boost);
}

fn recirculation(course: &mut DriveCourse, full: SpeedAndLoad, rng: &mut impl Rng) {
    for open_mm2 in [rng.random_range(30.0..110.0), 0.0, rng.random_range(30.0..110.0)] {
        course.hold(rng.random_range(0.8..1.5));
        course.step_recirculation(open_mm2);
    }
    course.pull(full, 1.0);
    course.hold(1.0);
    course.step_recirculation(0.0);
}

fn restart(course: &mut DriveCourse, full: SpeedAndLoad, rng: &mut impl Rng) {
    let (idle, standing) = (SpeedAndLoad { rpm: 800.0, load: 0.12 }, SpeedAndLoad { rpm: 0.0, load: 0.0 });
    course.pull(idle, 0.8);
    course.use_vanes(VaneUse::Idle);
    course.hold(0.5);
    course.pull(standing, 0.4);
    course.hold(rng.random_range(0.5..2.0));
    course.pull(idle, 0.5);
    course.hold(rng.random_range(0.3..1.0));
    course.pull(full, 1.5);
    course.use_vanes(VaneUse::Boost);
}

/// Engine speed and load.
#[derive(Debug, Clone, Copy)]
struct SpeedAndLoad {
    rpm: f64,
    load: f64,
}

/// Points as they are laid one after the other.
struct DriveCourse {
    points: Vec<DemandPoint>,
    now: DemandPoint,
}

impl DriveCourse {
    fn new(from: SpeedAndLoad) -> Self {
        let now = DemandPoint {
            t_s: 0.0,
            speed_rpm: from.rpm,
            fuel_mg: from.load * FULL_LOAD_MG,
            boost_kpa: None,
            egr_mm2: 0.0,
            egr_share: None,
            altitude_m: None,
            vanes: VaneUse::Boost,
            shape: Shape::Ramp,
        };
        Self { points: vec![now], now }
    }

    fn lay(&mut self, span_s: f64) {
        self.now.t_s += span_s;
        self.points.push(self.now);
    }

    fn hold(&mut self, span_s: f64) {
        self.lay(span_s);
    }

    fn pull(&mut self, to: SpeedAndLoad, over_s: f64) {
        (self.now.speed_rpm, self.now.fuel_mg) = (to.rpm, to.load * FULL_LOAD_MG);
        self.lay(over_s);
    }

    fn climb(&mut self, from_m: f64, by_m: f64, over_s: f64) {
        self.now.altitude_m = Some(from_m);
        self.mend_last();
        self.now.altitude_m = Some(from_m + by_m);
        self.lay(over_s);
    }

    fn step_recirculation(&mut self, area_mm2: f64) {
        self.now.egr_mm2 = area_mm2;
        self.lay(1e-3);
    }

    /// What the vanes are used for from the last point on.
    fn use_vanes(&mut self, vanes: VaneUse) {
        self.now.vanes = vanes;
        self.mend_last();
    }

    fn mend_last(&mut self) {
        if let Some(last) = self.points.last_mut() {
            *last = self.now;
        }
    }
}

/// What the controller is asked for.
pub(super) fn request(demand: &Demand) -> EngineDemand {
    let load = demand.fuel_mg / FULL_LOAD_MG;
    EngineDemand {
        mode: demand.vanes.into(),
        boost_target: Kilopascal(wanted_boost_kpa(demand.speed_rpm, load) as f32),
        engine_speed: Rpm(demand.speed_rpm as f32),
        load: Load::saturating(load as f32, Load::MIN),
    }
}

/// Whether the engine stands.
pub(super) fn stands(demand: &Demand) -> bool {
    demand.speed_rpm < STANDING_RPM
}
