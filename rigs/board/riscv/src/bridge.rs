//! The bridge's registers, in memory: the machine has no PWM.

use core::sync::atomic::{AtomicU32, Ordering};

use firmware_core::drive::{AtDutyZero, Bridge, DriveError, SafeOff};
use firmware_core::units::Duty;

/// Bits of the duty.
static DUTY: AtomicU32 = AtomicU32::new(0);
static ENABLE: AtomicU32 = AtomicU32::new(0);

/// The bridge.
pub struct MemoryBridge(());

impl MemoryBridge {
    /// The bridge, off.
    pub fn start() -> Self {
        Self::force_off();
        Self(())
    }
}

impl SafeOff for MemoryBridge {
    /// As the world's bridge in `plant`.
    const AT_DUTY_ZERO: AtDutyZero = AtDutyZero::Brake;

    fn force_off() {
        ENABLE.store(0, Ordering::Relaxed);
        DUTY.store(Duty::ZERO.get().to_bits(), Ordering::Relaxed);
    }
}

impl Bridge for MemoryBridge {
    fn enable(&mut self) -> Result<(), DriveError> {
        ENABLE.store(1, Ordering::Relaxed);
        Ok(())
    }

    fn set(&mut self, duty: Duty) -> Result<(), DriveError> {
        DUTY.store(duty.get().to_bits(), Ordering::Relaxed);
        Ok(())
    }
}
