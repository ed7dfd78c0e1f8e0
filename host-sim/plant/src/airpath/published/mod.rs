//! The published mean-value diesel engine model with variable-geometry turbocharger and exhaust-gas
//! recirculation.
//!
//! In: five states (intake and exhaust pressure, their oxygen fractions, turbo speed), engine speed, fuel,
//! valve and vane positions in per cent. Out: flows, torque and the states' time derivatives. Equations:
//! Wahlström and Eriksson, Proc. IMechE Part D 225(7), 2011, 960–986. It is here as a check on what the
//! reduced model leaves out; campaigns do not run it. The residual-gas loop is solved to a fixed point.

mod params;

pub use params::{PUBLISHED, PublishedParams};

/// Intake pressure Pa, exhaust pressure Pa, intake and exhaust oxygen mass fraction, turbo speed rad/s.
pub type PublishedState = [f64; 5];

/// What the engine is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PublishedInputs {
    /// Engine speed, rpm.
    pub speed_rpm: f64,
    /// Fuel, mg per cycle and cylinder.
    pub fuel_mg: f64,
    /// Recirculation valve position, %.
    pub egr_pct: f64,
    /// Vane position, %: 20 closed … 100 open.
    pub vane_pct: f64,
}

/// Algebraic quantities of an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PublishedFlows {
    /// Into the cylinders, kg/s.
    pub engine_kg_s: f64,
    /// Fuel, kg/s.
    pub fuel_kg_s: f64,
    /// Exhaust manifold temperature, K.
    pub exhaust_k: f64,
    /// Oxygen fraction of what leaves the cylinders.
    pub exhaust_oxygen: f64,
    /// Crankshaft torque, N m.
    pub torque_nm: f64,
    /// Through the compressor, kg/s.
    pub compressor_kg_s: f64,
    /// Compressor power, W.
    pub compressor_w: f64,
    /// Through the turbine, kg/s.
    pub turbine_kg_s: f64,
    /// Turbine power times mechanical efficiency, W.
    pub turbine_w: f64,
    /// Recirculated, kg/s.
    pub egr_kg_s: f64,
}

/// Cylinder state handed from the filling to the torque and exhaust equations.
struct Cylinder {
    engine_kg_s: f64,
    fuel_kg_s: f64,
    outlet_k: f64,
}

/// Largest number of passes of the residual-gas loop, and its convergence in K.
const RESIDUAL_PASSES: usize = 60;
const RESIDUAL_K: f64 = 1e-12;
const HOTTEST_K: f64 = 1500.0;
const COLDEST_K: f64 = 273.0;

impl PublishedParams {
    /// All flows at an instant.
    #[must_use]
    pub fn flows(&self, state: &PublishedState, inputs: &PublishedInputs) -> PublishedFlows {
        let [intake_pa, exhaust_pa, intake_oxygen, _, turbo] = *state;
        let cylinder = self.cylinder(intake_pa, exhaust_pa, inputs);
        let out_kg_s = cylinder.engine_kg_s + cylinder.fuel_kg_s;
        let oxygen = cylinder.engine_kg_s * intake_oxygen;
        let burnt = cylinder.fuel_kg_s * self.af_stoich * self.x_oc;
        let cooling = libm::exp(-self.h_tot * self.pipe_area / (out_kg_s * self.c_pe));
        let exhaust_k = self.t_wall + (cylinder.outlet_k - self.t_wall) * cooling;
        let (compressor_kg_s, compressor_w) = self.compressor(intake_pa, turbo);
        let (turbine_kg_s, turbine_w) = self.turbine(exhaust_pa, exhaust_k, turbo, inputs.vane_pct);
        PublishedFlows {
            engine_kg_s: cylinder.engine_kg_s,
            fuel_kg_s: cylinder.fuel_kg_s,
            exhaust_k,
            exhaust_oxygen: ((oxygen - burnt) / out_kg_s).max(0.0),
            torque_nm: self.torque(intake_pa, exhaust_pa, inputs, oxygen / burnt),
            compressor_kg_s,
            compressor_w,
            turbine_kg_s,
            turbine_w,
            egr_kg_s: self.egr(intake_pa, exhaust_pa, exhaust_k, inputs.egr_pct),
        }
    }

    /// Time derivatives of the five states.
    #[must_use]
    pub fn rates(&self, state: &PublishedState, inputs: &PublishedInputs) -> PublishedState {
        let f = self.flows(state, inputs);
        let [intake_pa, exhaust_pa, intake_oxygen, exhaust_oxygen, turbo] = *state;
        let intake = self.r_a * self.t_im / self.v_im;
        let exhaust = self.r_e * f.exhaust_k / self.v_em;
        let out_kg_s = f.engine_kg_s + f.fuel_kg_s;
        [
            intake * (f.compressor_kg_s + f.egr_kg_s - f.engine_kg_s),
            exhaust * (out_kg_s - f.turbine_kg_s - f.egr_kg_s),
            intake / intake_pa
                * ((exhaust_oxygen - intake_oxygen) * f.egr_kg_s
                    + (self.x_oc - intake_oxygen) * f.compressor_kg_s),
            exhaust / exhaust_pa * (f.exhaust_oxygen - exhaust_oxygen) * out_kg_s,
            (f.turbine_w - f.compressor_w) / (self.j_t * turbo),
        ]
    }

    /// Filling, and the outlet temperature of the limited-pressure cycle with residual gas.
    fn cylinder(&self, intake_pa: f64, exhaust_pa: f64, inputs: &PublishedInputs) -> Cylinder {
        let speed = inputs.speed_rpm;
        let filling =
            self.c_vol[0] * libm::sqrt(intake_pa) + self.c_vol[1] * libm::sqrt(speed) + self.c_vol[2];
        let engine_kg_s = filling * intake_pa * speed * self.v_d / (120.0 * self.r_a * self.t_im);
        let fuel_kg_s = 1e-6 * inputs.fuel_mg * speed * self.n_cyl / 120.0;
        let gamma = self.c_pa / self.c_va;
        let compression = libm::pow(self.r_c, gamma - 1.0);
        let ratio = exhaust_pa / intake_pa;
        let (mut start_k, mut residual, mut outlet_k) = (self.t_im, 0.0, 0.0);
        for _ in 0..RESIDUAL_PASSES {
            let heat = fuel_kg_s * self.q_hv * (1.0 - residual) / (engine_kg_s + fuel_kg_s);
            let (held_volume, held_pressure) =
                (heat * self.x_cv / self.c_va, heat * (1.0 - self.x_cv) / self.c_pa);
            let x_p = 1.0 + held_volume / (start_k * compression);
            let x_v = 1.0 + held_pressure / (held_volume + start_k * compression);
            residual = (libm::pow(ratio, 1.0 / gamma) * libm::pow(x_p, -1.0 / gamma) / (self.r_c * x_v))
                .clamp(0.0, 1.0);
            let cycle = libm::pow(ratio, 1.0 - 1.0 / gamma) / compression * libm::pow(x_p, 1.0 / gamma - 1.0);
            outlet_k =
                (self.eta_sc * cycle * (held_pressure + held_volume + start_k * compression)).min(HOTTEST_K);
            let next_k = (residual * outlet_k + (1.0 - residual) * self.t_im).max(COLDEST_K);
            let change = (next_k - start_k).abs();
            start_k = next_k;
            if change < RESIDUAL_K {
                break;
            }
        }
        Cylinder { engine_kg_s, fuel_kg_s, outlet_k }
    }

    fn torque(&self, intake_pa: f64, exhaust_pa: f64, inputs: &PublishedInputs, oxygen_ratio: f64) -> f64 {
        let krpm = inputs.speed_rpm / 1000.0;
        let ideal = 1.0 - 1.0 / libm::pow(self.r_c, self.gamma_c - 1.0);
        let burnt_share = oxygen_ratio.min(1.0);
        let gross = self.eta_igch * burnt_share * ideal * inputs.fuel_mg * self.q_hv * 1e-6 * self.n_cyl;
        let pumping = self.v_d * (exhaust_pa - intake_pa);
        let friction = self.v_d * 1e5 * polynomial(&self.c_fric, krpm);
        (gross - pumping - friction) / (4.0 * core::f64::consts::PI)
    }

    fn compressor(&self, intake_pa: f64, turbo: f64) -> (f64, f64) {
        let exponent = 1.0 - self.c_va / self.c_pa;
        let ratio = (intake_pa / self.p_amb).max(1.0);
        let rise = libm::pow(ratio, exponent) - 1.0;
        let tip = self.compressor_radius * turbo;
        let head = 2.0 * self.c_pa * self.t_amb * rise / (tip * tip);
        let head_weight = polynomial(&self.c_psi1, turbo).max(0.0);
        let flow_weight = polynomial(&self.c_phi1, turbo).max(0.1);
        let off = head - self.c_psi2;
        let inside = (1.0 - head_weight * off * off).max(0.0) / flow_weight;
        let flow = (self.c_phi2 + libm::sqrt(inside)).max(0.0);
        let radius = self.compressor_radius;
        let density = self.p_amb / (self.r_a * self.t_amb);
        let kg_s = (density * core::f64::consts::PI * radius * radius * radius * turbo * flow).max(1e-4);
        let chi = [kg_s - self.w_copt, libm::pow(ratio - 1.0, self.c_pi) - self.pi_copt];
        let [[q11, q12], [q21, q22]] = self.q_c;
        let fall = chi[0] * (q11 * chi[0] + q12 * chi[1]) + chi[1] * (q21 * chi[0] + q22 * chi[1]);
        let efficiency = (self.eta_cmax - fall).max(0.2);
        (kg_s, kg_s * self.c_pa * self.t_amb * rise / efficiency)
    }

    fn turbine(&self, exhaust_pa: f64, exhaust_k: f64, turbo: f64, vane_pct: f64) -> (f64, f64) {
        let ratio = (self.p_amb / exhaust_pa).min(0.9999);
        let head = 1.0 - libm::pow(ratio, 1.0 - self.c_ve / self.c_pe);
        let spouting = libm::sqrt(2.0 * self.c_pe * exhaust_k * head);
        let blade = (self.turbine_radius * turbo / spouting).clamp(0.0, 2.0 * self.bsr_opt) - self.bsr_opt;
        let over = turbo - self.c_m[1];
        let fall = if turbo >= self.w_tlin {
            self.c_m[0] * libm::pow(over, self.c_m[2])
        } else {
            (self.c_mlin * over / (self.w_tlin - self.c_m[1])).max(0.0)
        };
        let efficiency = (self.eta_tmmax - fall * blade * blade).clamp(0.2, 1.0);
        let off = (vane_pct - self.c_vgt2) / self.c_vgt1;
        let area = (self.c_f2 + self.c_f1 * libm::sqrt((1.0 - off * off).max(0.0))).max(0.0);
        let kg_s = self.a_vgtmax * exhaust_pa * libm::sqrt(1.0 - libm::pow(ratio, self.k_t)) * area
            / libm::sqrt(exhaust_k * self.r_e);
        (kg_s, kg_s * self.c_pe * exhaust_k * head * efficiency)
    }

    fn egr(&self, intake_pa: f64, exhaust_pa: f64, exhaust_k: f64, valve_pct: f64) -> f64 {
        let most = -self.c_egr[1] / (2.0 * self.c_egr[0]);
        let area = polynomial(&self.c_egr, valve_pct.min(most)).max(0.0);
        let ratio = (intake_pa / exhaust_pa).clamp(self.pi_egropt, 1.0);
        let off = (1.0 - ratio) / (1.0 - self.pi_egropt) - 1.0;
        self.a_egrmax * area * exhaust_pa * (1.0 - off * off) / libm::sqrt(exhaust_k * self.r_e)
    }
}

/// c0 x² + c1 x + c2.
fn polynomial(c: &[f64; 3], x: f64) -> f64 {
    (c[0] * x + c[1]) * x + c[2]
}
