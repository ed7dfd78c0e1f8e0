//! How long the host's word holds: the drive lease, the arming that it carries, and the grant of time.

use crate::link::DRIVE_LEASE_TICKS;
use crate::link::state::Arming;
use crate::units::Tick;

/// Deadlines set by the host's frames.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lease {
    arming: Arming,
    drive_until: Tick,
    /// Ticks that have run since the host was heard: a tick number that stands still does not hold the drive.
    ticks: u32,
    /// Stepped rigs: first tick that may not run.
    pub(super) granted: Tick,
}

impl Lease {
    pub(super) const fn new() -> Self {
        Self { arming: Arming::Disarmed, drive_until: Tick(0), ticks: 0, granted: Tick(0) }
    }

    /// Every understood message from the host that is not stale holds the drive for another lease.
    pub(super) fn extend(&mut self, next: Tick) {
        self.drive_until = next.after(DRIVE_LEASE_TICKS);
        self.ticks = 0;
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

    /// True in the tick in which an armed lease has run out; asked once a tick.
    pub(super) fn runs_out(&mut self, now: Tick) -> bool {
        self.ticks = self.ticks.saturating_add(1);
        let is_over = now.has_reached(self.drive_until) || self.ticks > DRIVE_LEASE_TICKS;
        self.arming == Arming::Armed && is_over
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks_until_over(number: impl Fn(u32) -> u32) -> Option<u32> {
        let mut lease = Lease::new();
        lease.arm();
        lease.extend(Tick(number(0)));
        (0..10 * DRIVE_LEASE_TICKS).find(|call| lease.runs_out(Tick(number(*call))))
    }

    #[test]
    fn a_lease_runs_out_by_tick_numbers_and_by_ticks_run_whichever_comes_first() {
        assert_eq!(ticks_until_over(|call| call), Some(DRIVE_LEASE_TICKS));
        assert_eq!(ticks_until_over(|call| 2 * call), Some(DRIVE_LEASE_TICKS / 2));
        assert_eq!(ticks_until_over(|call| call / 2), Some(DRIVE_LEASE_TICKS));
        assert_eq!(ticks_until_over(|_| 77), Some(DRIVE_LEASE_TICKS));
    }
}
