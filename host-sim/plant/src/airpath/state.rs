//! What an air path is asked and what it answers: the operating point, the vanes, the state, the flows.

/// What the engine is doing, held over a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Operating {
    /// Crankshaft speed, rpm.
    pub speed_rpm: f64,
    /// Fuel per stroke and cylinder, mg.
    pub fuel_mg: f64,
    /// Effective area of the exhaust-gas recirculation valve, m²; 0 is shut.
    pub egr_area_m2: f64,
    /// Area of a leak in the boost hose, m².
    pub leak_area_m2: f64,
    /// Pressure lost between compressor and intake manifold, Pa.
    pub hose_drop_pa: f64,
    /// What walls and cooler make of the gas.
    pub heat: GasHeat,
}

/// What walls and cooler make of the gas, held over a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasHeat {
    /// Intake temperature over that of the parameters.
    pub intake_ratio: f64,
    /// 1 over that ratio.
    pub density_ratio: f64,
    /// Share of its excess over the walls that the exhaust gives off before the turbine, 0 … 1.
    pub given_off: f64,
    /// Exhaust walls, K.
    pub wall_k: f64,
}

impl GasHeat {
    /// The gas as the parameters have it.
    pub const NONE: Self = Self { intake_ratio: 1.0, density_ratio: 1.0, given_off: 0.0, wall_k: 0.0 };
}

impl Operating {
    /// Plain running: no recirculation, no leak, a clear hose, no heat given off.
    #[must_use]
    pub fn new(speed_rpm: f64, fuel_mg: f64) -> Self {
        Self {
            speed_rpm,
            fuel_mg,
            egr_area_m2: 0.0,
            leak_area_m2: 0.0,
            hose_drop_pa: 0.0,
            heat: GasHeat::NONE,
        }
    }
}

/// Vane opening with the nozzle area that belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vanes {
    /// Opening that turbine efficiency goes by, 0 closed … 1 open: that of the engine's own nozzle.
    pub opening: f64,
    /// Effective nozzle area, m².
    pub area_m2: f64,
}

/// Intake pressure Pa, exhaust pressure Pa, turbo speed rad/s.
pub type AirState = [f64; 3];

/// All algebraic quantities of an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flows {
    /// Air through the compressor, kg/s.
    pub compressor_kg_s: f64,
    /// Air into the cylinders, kg/s.
    pub engine_kg_s: f64,
    /// Fuel, kg/s.
    pub fuel_kg_s: f64,
    /// Exhaust through the turbine, kg/s.
    pub turbine_kg_s: f64,
    /// Recirculated exhaust, kg/s.
    pub egr_kg_s: f64,
    /// Lost through a leak, kg/s.
    pub leak_kg_s: f64,
    /// Exhaust before the turbine, K.
    pub exhaust_k: f64,
    /// Exhaust as it leaves the cylinders, K.
    pub cylinders_k: f64,
    /// Turbine shaft power, W.
    pub turbine_w: f64,
    /// Compressor shaft power, W.
    pub compressor_w: f64,
}
