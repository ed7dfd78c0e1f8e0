//! What the board says it can take, obeyed or refused in words.

use std::time::Duration;

use firmware_core::link::state::Capabilities;
use firmware_core::units::TICKS_PER_SECOND;

use super::{Client, ClientError};

/// Most ticks granted at once on a stepped rig: eight batches.
const MOST_GRANTED: u32 = 256;
/// Signs of life in a drive lease.
const SIGNS_PER_LEASE: u16 = 5;
/// Longest time between two signs of life.
const SELDOMEST_SIGN: Duration = Duration::from_millis(100);
/// Shortest drive lease of a paced rig that can be kept up, ms: reads wait 20 ms for the line.
const LEAST_LEASE_MS: u16 = 100;

/// What follows from a board's capabilities.
#[derive(Debug, Clone, Copy)]
pub(super) struct Obeyed {
    lease_ms: u16,
    segments: u16,
}

impl Obeyed {
    /// Takes the board at its word.
    ///
    /// # Errors
    /// Where this tool cannot do as the board asks.
    pub(super) fn of(
        capabilities: &Capabilities,
        pacing: firmware_core::link::Pacing,
        port: &str,
    ) -> Result<Self, ClientError> {
        use firmware_core::link::Pacing;
        let port = port.to_owned();
        let Capabilities { ticks_per_second, lease_ticks, motion_segments } = *capabilities;
        if u32::from(ticks_per_second) != TICKS_PER_SECOND {
            return Err(ClientError::OtherTickRate { port, board: ticks_per_second });
        }
        let least_ms = match pacing {
            Pacing::Paced => LEAST_LEASE_MS,
            // Its time stands still while the host is silent.
            Pacing::Stepped => 2,
        };
        if lease_ticks < least_ms {
            return Err(ClientError::LeaseTooShort { port, lease_ms: lease_ticks, least_ms });
        }
        Ok(Self { lease_ms: lease_ticks, segments: motion_segments })
    }

    /// The drive lease.
    pub(super) fn lease(self) -> Duration {
        Duration::from_millis(self.lease_ms.into())
    }

    pub(super) fn lease_ms(self) -> u16 {
        self.lease_ms
    }

    /// Time between two signs of life on a paced rig.
    pub(super) fn keep_alive_every(self) -> Duration {
        Duration::from_millis((self.lease_ms / SIGNS_PER_LEASE).into()).min(SELDOMEST_SIGN)
    }

    /// Ticks granted at once on a stepped rig: the lease counts them too.
    pub(super) fn grant_ticks(self) -> u32 {
        (u32::from(self.lease_ms) * 3 / 4).clamp(1, MOST_GRANTED)
    }
}

impl Client {
    /// Refuses a motion that the board cannot hold before any of it is sent.
    pub(super) fn check_segments(&self, wanted: usize) -> Result<(), ClientError> {
        let max = self.obeyed.segments;
        if wanted <= usize::from(max) {
            return Ok(());
        }
        Err(ClientError::TooManySegments { port: self.port.clone(), wanted, max })
    }
}
