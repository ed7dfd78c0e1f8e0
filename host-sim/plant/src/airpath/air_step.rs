//! One step of the air path, alone or several side by side in lanes.
//!
//! In: where the air path stands, where the vanes move to, what the engine does meanwhile. Out: state and
//! vanes a step later. A lane has the bits that it would have alone. A leak needs powers that lanes do not
//! have, so that an engine with a leak steps alone.

use super::equations::EquationsLanes;
use super::reduced::ReducedModel;
use super::rk4::{along, combined};
use super::state::{AirState, GasHeat, Operating, Vanes};
use super::steady::{RUN_STEPS, STEP_S};
use crate::atmosphere::Ambient;
use crate::lanes::{Lanes, WIDTH, go_on_in_widest_registers, laned};

/// What the air path runs through during a step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct AirStepInput {
    pub from: AirState,
    /// Vanes at the start.
    pub vanes: Vanes,
    /// Opening of the ring at the end.
    pub opening: f64,
    pub op: Operating,
}

impl AirStepInput {
    /// State and vanes at the end of a step of `dt` s: Runge–Kutta while the vanes move evenly.
    pub(crate) fn after(&self, model: &ReducedModel, dt: f64) -> (AirState, Vanes) {
        let (x, op, from, to) = (&self.from, &self.op, self.vanes, model.vanes(self.opening));
        let k1 = model.rates(x, from, op);
        let k2 = model.rates(&along(x, 0.5 * dt, &k1), halfway(from, to), op);
        let k3 = model.rates(&along(x, 0.5 * dt, &k2), halfway(from, to), op);
        let k4 = model.rates(&along(x, dt, &k3), to, op);
        (combined(x, dt, [k1, k2, k3, k4]), to)
    }
}

#[inline(always)]
fn halfway(from: Vanes, to: Vanes) -> Vanes {
    Vanes { opening: 0.5 * (from.opening + to.opening), area_m2: 0.5 * (from.area_m2 + to.area_m2) }
}

laned! {
    /// [`AirStepInput`] as plain numbers, without leak.
    struct Course across CourseLanes {
        intake_pa,
        exhaust_pa,
        turbo_rad_s,
        vanes_opening,
        vanes_m2,
        /// Opening that efficiency goes by at the end.
        opening,
        /// Area of a measured ring at the end; 0 without one.
        ring_m2,
        speed_rpm,
        fuel_mg,
        egr_m2,
        hose_drop_pa,
        intake_ratio,
        density_ratio,
        given_off,
        wall_k,
    }
}

impl Course {
    #[inline(always)]
    fn run(&self) -> AirStepInput {
        AirStepInput {
            from: [self.intake_pa, self.exhaust_pa, self.turbo_rad_s],
            vanes: Vanes { opening: self.vanes_opening, area_m2: self.vanes_m2 },
            opening: self.opening,
            op: Operating {
                speed_rpm: self.speed_rpm,
                fuel_mg: self.fuel_mg,
                egr_area_m2: self.egr_m2,
                leak_area_m2: 0.0,
                hose_drop_pa: self.hose_drop_pa,
                heat: GasHeat {
                    intake_ratio: self.intake_ratio,
                    density_ratio: self.density_ratio,
                    given_off: self.given_off,
                    wall_k: self.wall_k,
                },
            },
        }
    }
}

laned! {
    /// Where a Runge–Kutta step stands: the point that comes next, the weighted sum of the slopes so far, and
    /// the vanes' area at the end.
    struct Stage across StageLanes {
        intake_pa,
        exhaust_pa,
        turbo_rad_s,
        intake_sum,
        exhaust_sum,
        turbo_sum,
        area_m2,
    }
}

/// Air paths in lanes; a lane is one engine's from its first tick to its last.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct AirPathLanes {
    /// Surroundings that the lane's equations are worked out for.
    ambients: [Option<Ambient>; WIDTH],
    equations: EquationsLanes,
    courses: CourseLanes,
    stages: StageLanes,
}

impl AirPathLanes {
    /// Puts an engine's step into a lane. False: it cannot go along.
    pub(crate) fn take(&mut self, lane: usize, model: &ReducedModel, run: &AirStepInput) -> bool {
        if run.op.leak_area_m2 > 0.0 {
            return false;
        }
        if self.ambients[lane] != Some(*model.ambient()) {
            self.ambients[lane] = Some(*model.ambient());
            self.equations.put(lane, model.equations());
        }
        debug_assert_eq!(self.equations.at(lane), *model.equations(), "a lane keeps its engine");
        let ([intake_pa, exhaust_pa, turbo_rad_s], op) = (run.from, &run.op);
        // A ring's table is read here, world by world; the law's powers are for all lanes at once.
        let (opening, ring_m2) = match model.ring().map(|ring| ring.vanes(run.opening)) {
            None => (run.opening, 0.0),
            Some(vanes) => (vanes.opening, vanes.area_m2),
        };
        self.courses.put(
            lane,
            &Course {
                intake_pa,
                exhaust_pa,
                turbo_rad_s,
                vanes_opening: run.vanes.opening,
                vanes_m2: run.vanes.area_m2,
                opening,
                ring_m2,
                speed_rpm: op.speed_rpm,
                fuel_mg: op.fuel_mg,
                egr_m2: op.egr_area_m2,
                hose_drop_pa: op.hose_drop_pa,
                intake_ratio: op.heat.intake_ratio,
                density_ratio: op.heat.density_ratio,
                given_off: op.heat.given_off,
                wall_k: op.heat.wall_k,
            },
        );
        true
    }

    /// Moves every lane on by `dt` s.
    pub(crate) fn run(&mut self, dt: f64) {
        go_on_in_widest_registers(self, dt);
    }

    /// Moves every lane on to where the search for a state of rest goes on, the vanes held.
    pub(crate) fn approach_rest(&mut self) {
        for _ in 0..RUN_STEPS {
            self.run(STEP_S);
            for lane in 0..WIDTH {
                let [intake_pa, exhaust_pa, turbo_rad_s] = self.stages.at(lane).point();
                self.courses
                    .put(lane, &Course { intake_pa, exhaust_pa, turbo_rad_s, ..self.courses.at(lane) });
            }
        }
    }

    /// What a lane's air path ran through.
    pub(crate) fn run_in(&self, lane: usize) -> AirStepInput {
        self.courses.at(lane).run()
    }

    /// A lane's state and vanes at the end of the step.
    pub(crate) fn arrived(&self, lane: usize) -> (AirState, Vanes) {
        let (stage, opening) = (self.stages.at(lane), self.courses.at(lane).opening);
        (stage.point(), Vanes { opening, area_m2: stage.area_m2 })
    }
}

impl Lanes for AirPathLanes {
    /// [`AirStepInput::after`], stage by stage for all lanes: one register computes while another waits for a
    /// division or a root.
    #[inline(always)]
    fn go_on(&mut self, dt: f64) {
        for lane in 0..WIDTH {
            let (equations, course) = (self.equations.at(lane), self.courses.at(lane));
            let by_law = equations.vanes(course.opening).area_m2;
            let area_m2 = if course.ring_m2 > 0.0 { course.ring_m2 } else { by_law };
            let [intake_pa, exhaust_pa, turbo_rad_s] = course.run().from;
            self.stages.put(lane, &Stage { area_m2, intake_pa, exhaust_pa, turbo_rad_s, ..Stage::default() });
        }
        self.stage(|from, _| from, 1.0, 0.5 * dt);
        self.stage(halfway, 2.0, 0.5 * dt);
        self.stage(halfway, 2.0, dt);
        self.stage(|_, to| to, 1.0, 0.0);
        for lane in 0..WIDTH {
            let (from, mut stage) = (self.courses.at(lane).run().from, self.stages.at(lane));
            stage.stand_at(along(&from, dt * (1.0 / 6.0), &stage.sum()));
            self.stages.put(lane, &stage);
        }
    }
}

impl AirPathLanes {
    /// One stage: its slopes count `weight` times, and the next one lies `next_s` along them.
    #[inline(always)]
    fn stage(&mut self, vanes: impl Fn(Vanes, Vanes) -> Vanes, weight: f64, next_s: f64) {
        for lane in 0..WIDTH {
            let (equations, run) = (self.equations.at(lane), self.courses.at(lane).run());
            let mut stage = self.stages.at(lane);
            let to = Vanes { opening: run.opening, area_m2: stage.area_m2 };
            let (point, no_leak_kg_s) = (stage.point(), 0.0);
            let slopes = equations.rates(&point, vanes(run.vanes, to), &run.op, no_leak_kg_s);
            stage.take_sum(along(&stage.sum(), weight, &slopes));
            stage.stand_at(along(&run.from, next_s, &slopes));
            self.stages.put(lane, &stage);
        }
    }
}

impl Stage {
    #[inline(always)]
    fn point(&self) -> AirState {
        [self.intake_pa, self.exhaust_pa, self.turbo_rad_s]
    }

    #[inline(always)]
    fn stand_at(&mut self, point: AirState) {
        [self.intake_pa, self.exhaust_pa, self.turbo_rad_s] = point;
    }

    #[inline(always)]
    fn sum(&self) -> AirState {
        [self.intake_sum, self.exhaust_sum, self.turbo_sum]
    }

    #[inline(always)]
    fn take_sum(&mut self, sum: AirState) {
        [self.intake_sum, self.exhaust_sum, self.turbo_sum] = sum;
    }
}
