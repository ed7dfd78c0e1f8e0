//! What is asked of the engine in a step, and what is wrong with its hoses.

/// What the controller asks of the fuel.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum FuelAsked {
    /// Nothing.
    #[default]
    Free,
    /// No more than this fraction of full load (0 is a cut).
    LimitTo(f64),
}

/// What the driver and the road ask of the engine in one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EngineInputs {
    /// Crankshaft speed, rpm.
    pub speed_rpm: f64,
    /// Fuel asked for, mg per stroke.
    pub fuel_mg: f64,
    /// Effective area of the recirculation valve, m².
    pub egr_area_m2: f64,
    /// What the controller asks of the fuel.
    pub fuel_request: FuelAsked,
}

impl EngineInputs {
    /// Plain running.
    #[must_use]
    pub fn new(speed_rpm: f64, fuel_mg: f64) -> Self {
        Self { speed_rpm, fuel_mg, egr_area_m2: 0.0, fuel_request: FuelAsked::Free }
    }
}

/// What is wrong with the hoses.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HoseState {
    /// Area of a leak behind the compressor, m².
    pub leak_area_m2: f64,
    /// Pressure lost in the boost hose, Pa per (kg/s)².
    pub loss_pa_per_kg2_s2: f64,
}
