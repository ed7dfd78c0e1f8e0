//! A lever made of arithmetic, for a board without a simulated world: motor, friction, a spring that opens, two soft stops.
//! Invented, as the default settings are; it is there to give the controller something that moves.

use firmware_core::sample::{BridgeLine, Conversions, Sample};
use firmware_core::units::{Ampere, Counts, Duty, Kilopascal, Tick, Volt};

const SUPPLY: Volt = Volt(12.0);
const WINDING_OHM: f32 = 1.6;
const EMF_V_PER_COUNT_PER_S: f32 = 9.865e-5;
/// Forces in amperes that would hold them.
const FRICTION_A: f32 = 0.25;
const SPRING_A: f32 = 0.2;
const DRAG_A_PER_COUNT_PER_S: f32 = 1.0e-5;
const STOP_A_PER_COUNT: f32 = 0.05;
/// Counts at the closed stop; opening lowers them by the span.
const CLOSED_COUNTS: f32 = 13_330.0;
const SPAN_COUNTS: f32 = 10_700.0;
const TICK_S: f32 = 0.001;
const ABSOLUTE: Kilopascal = Kilopascal(101.3);

/// The lever.
pub struct Lever {
    /// Counts opened from the closed stop; beyond a stop it is pressed in.
    opened: f32,
}

impl Lever {
    /// At rest in mid-travel.
    #[must_use]
    pub const fn new() -> Self {
        Self { opened: SPAN_COUNTS / 2.0 }
    }

    /// Lets a tick pass at this duty; gives the sample of the next.
    pub fn step(&mut self, tick: Tick, driven: Duty) -> Sample {
        let stalled = driven.get() * SUPPLY.0 / WINDING_OHM;
        let force = stalled + SPRING_A - self.stop_force();
        let held_back = force.clamp(-FRICTION_A, FRICTION_A);
        let speed = (force - held_back) / (DRAG_A_PER_COUNT_PER_S + EMF_V_PER_COUNT_PER_S / WINDING_OHM);
        self.opened += speed * TICK_S;
        let current = stalled - speed * EMF_V_PER_COUNT_PER_S / WINDING_OHM;
        // A sensor's last digit is never still.
        let flicker = (tick.0 % 2) as f32;
        Sample {
            tick,
            position: Counts((CLOSED_COUNTS - self.opened + flicker) as i16),
            motor_current: Ampere(current),
            supply: SUPPLY,
            temperature: None,
            boost: ABSOLUTE,
            barometer: ABSOLUTE,
            exhaust: None,
            turbo_speed: None,
            conversions: Conversions::all(tick.0 as u8),
            bridge: BridgeLine::Quiet,
        }
    }

    /// What the stops push back with, positive at the open one.
    fn stop_force(&self) -> f32 {
        let inside = self.opened.clamp(0.0, SPAN_COUNTS);
        (self.opened - inside) * STOP_A_PER_COUNT
    }
}

impl Default for Lever {
    fn default() -> Self {
        Self::new()
    }
}
