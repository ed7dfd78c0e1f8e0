//! How long the host's word holds: the drive lease, the arming that it carries, and the grant of time.

use crate::link::DRIVE_LEASE_TICKS;
use crate::link::state::Arming;
use crate::units::Tick;

/// Deadlines set by the host's frames.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lease {
    arming: Arming,
    drive_until: Tick,
    /// Stepped rigs: first tick that may not run.
    pub(super) granted: Tick,
}

impl Lease {
    pub(super) const fn new() -> Self {
        Self { arming: Arming::Disarmed, drive_until: Tick(0), granted: Tick(0) }
    }

    /// Every understood message from the host that is not stale holds the drive for another lease.
    pub(super) fn extend(&mut self, next: Tick) {
        self.drive_until = next.after(DRIVE_LEASE_TICKS);
    }

    pub(super) fn arm(&mut self) {
        self.arming = Arming::Armed;
    }

    pub(super) fn disarm(&mut self) {
        self.arming = Arming::Disarmed;
    }

    pub(super) fn arming(&self) -> Arming {
        self.arming
    }

    /// True in the tick in which an armed lease has run out.
    pub(super) fn runs_out(&self, now: Tick) -> bool {
        self.arming == Arming::Armed && now.has_reached(self.drive_until)
    }
}
