//! A run being recorded: stream items become rows, and the run is closed whatever happens.

use firmware_core::calibration::Calibration;
use firmware_core::command::Command;
use firmware_core::learn::{LearnEvent, Stop};
use firmware_core::link::state::{Drive, MotionEvent, StreamState};
use firmware_core::units::{Ampere, Duty, Opening, Tick};

use super::bench::Bench;
use super::stop::RunStop;
use super::target::Target;
use crate::client::{StreamItem, StreamSample};
use crate::figures;
use crate::interrupt;
use crate::record::{Conditions, Mark, Push, RecordError, RunInfo, RunKind, RunWriter, Sample, Status};

/// An open run and what turns its raw samples into rows.
pub(super) struct Recording {
    pub(super) writer: RunWriter,
    calibration: Option<Calibration>,
    last: Tick,
    supply: Option<(f32, f32)>,
    rows: u32,
}

/// Rows between two hand-overs to the system: a quarter of a second, all that a crash can lose.
const FLUSH_ROWS: u32 = 256;

impl Recording {
    /// Opens the next run of the unit.
    pub(super) fn create(
        target: &Target,
        bench: &Bench,
        kind: RunKind,
        calibration: Option<Calibration>,
        conditions: Conditions,
    ) -> Result<Self, RunStop> {
        let identity = &bench.client.welcome().identity;
        let info = RunInfo {
            kind,
            unit: target.unit.clone(),
            profile: target.profile.name.clone(),
            setup: target.setup,
            warmth: target.warmth,
            cautions: target.cautions,
            seed: target.virtual_unit().map(|_| target.seed),
            virtual_unit: target.virtual_unit().map(str::to_owned),
            software: concat!("vanebench ", env!("CARGO_PKG_VERSION")).into(),
            controller: format!("{}, {}", identity.model, identity.software),
        };
        let mut writer = RunWriter::create(&target.unit_dir, info, conditions)?;
        writer.made("port", bench.port().to_owned());
        writer.made("started_unix_s", unix_seconds());
        Ok(Self { writer, calibration, last: Tick(0), supply: None, rows: 0 })
    }

    /// The next thing from the board, already recorded.
    pub(super) fn next(&mut self, bench: &mut Bench) -> Result<StreamItem, RunStop> {
        if interrupt::asked() {
            return Err(RunStop::Interrupted);
        }
        let item = bench.client.next_item()?;
        self.take(&item)?;
        Ok(item)
    }

    /// Tick of the newest item.
    pub(super) fn last(&self) -> Tick {
        self.last
    }

    fn take(&mut self, item: &StreamItem) -> Result<(), RecordError> {
        match item {
            StreamItem::Sample(sample) => self.sample(sample),
            StreamItem::Gap { first, ticks, .. } => self.writer.mark(*first, Mark::Gap { lost: *ticks }),
            StreamItem::State { tick, state } => {
                self.last = *tick;
                self.writer.mark(*tick, Mark::Note(format!("state {}", word(state))))
            }
            StreamItem::Motion { tick, event: MotionEvent::Segment(index) } => {
                self.writer.mark(*tick, Mark::Note(format!("segment {index}")))
            }
            StreamItem::Motion { tick, event: MotionEvent::Ended } => {
                self.writer.mark(*tick, Mark::Note("motion ended".into()))
            }
            StreamItem::Released { tick, reason } => {
                self.writer.mark(*tick, Mark::Note(format!("released: {reason:?}")))
            }
            StreamItem::Learn { tick, event } => self.learn_event(*tick, event),
        }
    }

    fn sample(&mut self, sample: &StreamSample) -> Result<(), RecordError> {
        self.last = sample.tick;
        if let Some(supply) = sample.supply {
            let (low, high) = self.supply.unwrap_or((supply.0, supply.0));
            self.supply = Some((low.min(supply.0), high.max(supply.0)));
        }
        let position = sample.point.position();
        self.writer.sample(Sample {
            tick: sample.tick,
            position,
            opening: self.calibration.map(|calibration| calibration.unclamped_opening(position)),
            command: command(sample),
            duty: sample.point.duty(),
            motor_current: sample.point.current(),
            state: word(&sample.state),
        })?;
        self.rows += 1;
        if self.rows >= FLUSH_ROWS {
            self.rows = 0;
            self.writer.flush()?;
        }
        Ok(())
    }

    fn learn_event(&mut self, tick: Tick, event: &LearnEvent) -> Result<(), RecordError> {
        match event {
            LearnEvent::Phase(phase) => self.writer.mark(tick, Mark::Note(format!("phase {phase:?}"))),
            LearnEvent::Touch(touch) => {
                let stop = match touch.stop {
                    Stop::Closed => figures::Stop::Closed,
                    Stop::Open => figures::Stop::Open,
                };
                let reading = |push, counts| Mark::Touch { stop, push, counts };
                self.writer.mark(tick, reading(Push::Pressed, touch.pressed_counts))?;
                self.writer.mark(tick, reading(Push::Released, touch.released_counts))
            }
            LearnEvent::Outcome(_) => self.writer.mark(tick, Mark::Note("learn ended".into())),
        }
    }

    /// Closes the run: with what cut it short, or complete.
    pub(super) fn close<T>(
        mut self,
        bench: &mut Bench,
        ended: Result<T, RunStop>,
    ) -> Result<(T, std::path::PathBuf), RunStop> {
        if let Some((low, high)) = self.supply {
            self.writer.condition("supply", format!("{low:.2} to {high:.2} V at the controller's connector"));
        }
        let counters = bench.client.counters();
        self.writer.made("line_frames", counters.frames.to_string());
        self.writer.made("line_frames_lost", counters.lost.to_string());
        self.writer.made("line_frames_damaged", counters.damaged.to_string());
        self.writer.made("line_use_percent", format!("{:.1}", 100.0 * bench.client.line_use().fraction()));
        match ended {
            Ok(value) => Ok((value, self.writer.close(Status::Complete)?)),
            Err(stop) => {
                // The reason of the cut outweighs a second trouble while closing.
                let _closed = self.writer.close(stop.status());
                let _released = bench.client.stop();
                Err(stop)
            }
        }
    }
}

fn unix_seconds() -> String {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    since.map_or_else(|_| "unknown".into(), |span| span.as_secs().to_string())
}

fn command(sample: &StreamSample) -> Command {
    let Some(value) = sample.point.target(sample.state.drive) else {
        return Command::Release;
    };
    match sample.state.drive {
        Drive::Released => Command::Release,
        Drive::Duty => Command::Duty(Duty::saturating(value, Duty::ZERO)),
        Drive::Current => Command::Current(Ampere(value)),
        Drive::Opening => Command::Opening(Opening::saturating(value, Opening::OPEN)),
    }
}

/// The state in few words: who drives, the guard's stage when it acts, the faults.
fn word(state: &StreamState) -> String {
    let mut text = format!("{:?}", state.source).to_lowercase();
    if state.stage != firmware_core::guard::GuardStage::Normal {
        text.push_str(&format!(" guard:{:?}", state.stage).to_lowercase());
    }
    for fault in state.faults.iter() {
        text.push_str(" fault:");
        text.push_str(fault.name());
    }
    text
}
