//! A probe in the session: when it may begin, what it commands, and how its end is told.

use super::activity::{Activity, ProbePlace};
use super::control_end::ControlEnd;
use super::exchange::ToLink;
use crate::controller::TickOutput;
use crate::link::note::Note;
use crate::link::refusal::Refusal;
use crate::link::state::{MotionEvent, ReleaseReason};
use crate::probe::{Probe, ProbeEnd, ProbeSegment, ProbeStep};
use crate::sample::{Request, Sample};
use crate::units::Tick;

impl ControlEnd<'_> {
    /// A probe asks for what nobody knows yet, so no calibration may lead it: none is in use while it runs nor after it,
    /// until a motion or an engine names a setup again. What the board holds stays as it was, for a probe's pushes are
    /// no heavier than a diagnostic motion's.
    #[inline]
    pub(super) fn start_probe(&mut self, start_at: Tick, segment: &ProbeSegment) -> Result<(), Refusal> {
        self.check_ready(start_at)?;
        let actuator = &self.own.controller.settings().actuator;
        segment.validate(actuator)?;
        self.own.in_use = None;
        self.own.controller.hold(None);
        let probe = Probe::new(*segment);
        self.own.activity = Activity::Probe { start_at, probe, place: ProbePlace::Driving };
        Ok(())
    }

    /// The request of a probe's tick.
    pub(super) fn probe_tick(&mut self, sample: &Sample) -> Request {
        let now = sample.tick;
        let Activity::Probe { probe, place, .. } = &mut self.own.activity else { return Request::Release };
        match probe.tick(sample) {
            ProbeStep::Go(command) => Request::Bench(command),
            ProbeStep::Ease(command) => {
                if *place == ProbePlace::Driving {
                    *place = ProbePlace::Easing;
                    self.side
                        .outbox
                        .tell(ToLink::Note(Note::Motion { tick: now, event: MotionEvent::Ended }));
                }
                Request::Bench(command)
            }
            ProbeStep::Done(end) => {
                self.release(now, end.into());
                Request::Release
            }
        }
    }

    /// Shows a probe what its tick came to.
    pub(super) fn watch_probe(&mut self, sample: &Sample, output: &TickOutput) {
        let heat = self.own.controller.heat_share();
        if let Activity::Probe { start_at, probe, .. } = &mut self.own.activity
            && sample.tick.has_reached(*start_at)
        {
            probe.see(output.faults, heat);
        }
    }
}

impl From<ProbeEnd> for ReleaseReason {
    fn from(end: ProbeEnd) -> Self {
        match end {
            ProbeEnd::Moved => Self::ProbeMoved,
            ProbeEnd::Reached => Self::ProbeReached,
            ProbeEnd::Held => Self::ProbeHeld,
            ProbeEnd::TimeSpent => Self::ProbeTimeSpent,
            ProbeEnd::OverCurrent => Self::OverCurrent,
            ProbeEnd::HeatLimit => Self::HeatLimit,
            ProbeEnd::SupplyRange => Self::SupplyRange,
            ProbeEnd::SensorFault => Self::SensorFault,
        }
    }
}
