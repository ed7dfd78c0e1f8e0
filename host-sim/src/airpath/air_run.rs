//! One step of the air path, alone or several side by side in lanes.
//!
//! In: where the air path stands, where the vanes move to, what the engine does meanwhile. Out: state and
//! vanes a step later. A lane has the bits that it would have alone. A leak needs powers that lanes do not
//! have, so that an engine with a leak steps alone.

use super::equations::{Equations, EquationsLanes};
use super::reduced::{AirState, Operating, ReducedModel, Vanes};
use super::rk4::{along, combined};
use crate::lanes::{WIDTH, laned};

/// What the air path runs through during a step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct AirRun {
    pub from: AirState,
    /// Vanes at the start.
    pub vanes: Vanes,
    /// Opening at the end.
    pub opening: f64,
    pub op: Operating,
}

impl AirRun {
    /// State and vanes at the end of a step of `dt` s.
    pub(crate) fn after(&self, model: &ReducedModel, dt: f64) -> (AirState, Vanes) {
        let to = model.vanes(self.opening);
        (self.run_through(model, to, dt), to)
    }

    /// Runge–Kutta while the vanes move evenly.
    #[inline(always)]
    fn run_through(&self, model: &impl Slopes, to: Vanes, dt: f64) -> AirState {
        let (x, op, from) = (&self.from, &self.op, self.vanes);
        let half =
            Vanes { opening: 0.5 * (from.opening + to.opening), area_m2: 0.5 * (from.area_m2 + to.area_m2) };
        let k1 = model.slopes(x, from, op);
        let k2 = model.slopes(&along(x, 0.5 * dt, &k1), half, op);
        let k3 = model.slopes(&along(x, 0.5 * dt, &k2), half, op);
        let k4 = model.slopes(&along(x, dt, &k3), to, op);
        combined(x, dt, [k1, k2, k3, k4])
    }
}

/// What gives the slopes of the states. A trait and no closure: only so are they inlined four times, without
/// which lanes come apart.
trait Slopes {
    fn slopes(&self, x: &AirState, vanes: Vanes, op: &Operating) -> AirState;
}

impl Slopes for ReducedModel {
    fn slopes(&self, x: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        self.rates(x, vanes, op)
    }
}

/// Without a leak.
impl Slopes for Equations {
    #[inline(always)]
    fn slopes(&self, x: &AirState, vanes: Vanes, op: &Operating) -> AirState {
        self.rates(x, &self.flows(x, vanes, op, 0.0))
    }
}

laned! {
    /// [`AirRun`] as plain numbers, without leak.
    struct Course across CourseLanes {
        intake_pa,
        exhaust_pa,
        turbo_rad_s,
        vanes_opening,
        vanes_m2,
        opening,
        speed_rpm,
        fuel_mg,
        egr_m2,
        hose_drop_pa,
    }
}

impl Course {
    #[inline(always)]
    fn run(&self) -> AirRun {
        AirRun {
            from: [self.intake_pa, self.exhaust_pa, self.turbo_rad_s],
            vanes: Vanes { opening: self.vanes_opening, area_m2: self.vanes_m2 },
            opening: self.opening,
            op: Operating {
                speed_rpm: self.speed_rpm,
                fuel_mg: self.fuel_mg,
                egr_area_m2: self.egr_m2,
                leak_area_m2: 0.0,
                hose_drop_pa: self.hose_drop_pa,
            },
        }
    }
}

laned! {
    struct Arrival across ArrivalLanes {
        intake_pa,
        exhaust_pa,
        turbo_rad_s,
        area_m2,
    }
}

/// Air paths in lanes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct AirTogether {
    equations: EquationsLanes,
    courses: CourseLanes,
    arrivals: ArrivalLanes,
}

impl AirTogether {
    /// Puts an engine's step into a lane. False: it cannot go along.
    pub(crate) fn take(&mut self, lane: usize, model: &ReducedModel, run: &AirRun) -> bool {
        if run.op.leak_area_m2 > 0.0 {
            return false;
        }
        self.equations.put(lane, model.equations());
        let ([intake_pa, exhaust_pa, turbo_rad_s], op) = (run.from, &run.op);
        self.courses.put(
            lane,
            &Course {
                intake_pa,
                exhaust_pa,
                turbo_rad_s,
                vanes_opening: run.vanes.opening,
                vanes_m2: run.vanes.area_m2,
                opening: run.opening,
                speed_rpm: op.speed_rpm,
                fuel_mg: op.fuel_mg,
                egr_m2: op.egr_area_m2,
                hose_drop_pa: op.hose_drop_pa,
            },
        );
        true
    }

    /// Moves every lane on by `dt` s.
    pub(crate) fn run(&mut self, dt: f64) {
        for lane in 0..WIDTH {
            let (equations, run) = (self.equations.at(lane), self.courses.at(lane).run());
            let to = equations.vanes(run.opening);
            let [intake_pa, exhaust_pa, turbo_rad_s] = run.run_through(&equations, to, dt);
            self.arrivals.put(lane, &Arrival { intake_pa, exhaust_pa, turbo_rad_s, area_m2: to.area_m2 });
        }
    }

    /// A lane's state and vanes at the end of the step.
    pub(crate) fn arrived(&self, lane: usize) -> (AirState, Vanes) {
        let (arrival, opening) = (self.arrivals.at(lane), self.courses.at(lane).opening);
        let state = [arrival.intake_pa, arrival.exhaust_pa, arrival.turbo_rad_s];
        (state, Vanes { opening, area_m2: arrival.area_m2 })
    }
}
