//! A run being recorded: stream items become rows, and the run is closed whatever happens.

use firmware_core::calibration::Calibration;
use firmware_core::units::{Counts, Tick};

use super::bench::Bench;
use super::look::Look;
use super::observer::{Observed, Observer};
use super::stop::RunStop;
use super::strokes::StrokeWatch;
use super::target::Target;
use crate::figures::friction::BINS;
use crate::record::{
    Conditions, Mark, Provenance, RecordError, RunInfo, RunKind, RunStatus, RunWriter, Serials,
};
use crate::record::{PORT, STARTED};
use crate::rig::{Measurand, Sampling, StreamItem, StreamSample};
use crate::span::Span;

/// An open run and what turns its raw samples into rows.
pub(super) struct Recording<'run> {
    pub(super) writer: RunWriter,
    calibration: Option<Calibration>,
    last: Tick,
    supply: Option<(f32, f32)>,
    rows: u32,
    holes: Vec<Hole>,
    position: Option<Counts>,
    /// Whether this is the right actuator.
    look: Option<Look>,
    /// What sums up the strokes of an endurance.
    strokes: Option<StrokeWatch>,
    /// Who looks on.
    observer: &'run mut dyn Observer,
}

/// Ticks that were lost, and how far the lever has moved meanwhile.
struct Hole {
    span: Span,
    before: Option<Counts>,
    moved: Option<f32>,
}

/// Way of the lever in a hole that may hide a place where it binds, as a share of travel: a bin of the friction curve.
const HIDING_SHARE: f32 = 1.0 / BINS as f32;

/// Rows between two hand-overs to the system: a quarter of a second, all that a crash can lose.
const FLUSH_ROWS: u32 = 256;

/// What is recorded.
pub(super) struct NewRun {
    /// What is done to the unit.
    pub(super) kind: RunKind,
    /// Gives samples their opening.
    pub(super) calibration: Option<Calibration>,
    /// Under which conditions.
    pub(super) conditions: Conditions,
    /// Serial numbers that hold for the run.
    pub(super) serials: Serials,
}

impl<'run> Recording<'run> {
    /// Opens the next run of the unit.
    pub(super) fn create(
        target: &Target,
        bench: &Bench,
        run: NewRun,
        observer: &'run mut dyn Observer,
    ) -> Result<Self, RunStop> {
        let NewRun { kind, calibration, mut conditions, serials } = run;
        for measurand in Measurand::ALL {
            match bench.rig.measures(measurand) {
                Sampling::EachSample => {}
                Sampling::Never { why } => {
                    conditions.insert(measurand.key().to_owned(), why);
                }
            }
        }
        let identity = bench.rig.identity();
        let info = RunInfo {
            kind,
            unit: target.unit.clone(),
            profile: target.profile.name.clone(),
            setup: target.setup,
            warmth: target.warmth,
            cautions: bench.cautions(),
            seed: target.virtual_unit().map(|_| target.seed),
            virtual_unit: target.virtual_unit(),
            software: concat!("vanebench ", env!("CARGO_PKG_VERSION")).into(),
            controller: format!("{}, {}", identity.model, identity.software),
            provenance: Some(Provenance {
                settings: target.profile.settings.hash(),
                operator: target.operator.clone(),
                customer: target.customer.clone(),
                board: bench.board(),
                serials,
                job: target.job.clone(),
            }),
        };
        let mut writer = RunWriter::create(&target.unit_dir, info, conditions)?;
        writer.profile(&target.profile.text)?;
        writer.made(PORT, bench.port().to_owned());
        writer.made(STARTED, unix_seconds());
        Ok(Self {
            writer,
            calibration,
            last: Tick(0),
            supply: None,
            rows: 0,
            holes: Vec::new(),
            position: None,
            look: None,
            strokes: None,
            observer,
        })
    }

    /// Stops the run where its samples speak against what `look` knows.
    pub(super) fn look_on(&mut self, look: Look) {
        self.look = Some(look);
    }

    /// The next thing from the board, already recorded.
    pub(super) fn next(&mut self, bench: &mut Bench) -> Result<StreamItem, RunStop> {
        let item = bench.rig.next_item()?;
        self.see(Observed::Item(&item))?;
        if let (Some(look), StreamItem::Sample(sample)) = (&mut self.look, &item) {
            look.see(sample)?;
        }
        if let Some(watch) = &mut self.strokes
            && let Some(stroke) = watch.see(&item)
        {
            self.writer.mark(self.last, Mark::Stroke(stroke))?;
            self.writer.flush()?;
            watch.check(&stroke).map_err(RunStop::PastLimit)?;
        }
        Ok(item)
    }

    /// Sums up strokes, and keeps whole only those that the watch names.
    pub(super) fn sum_up(&mut self, watch: StrokeWatch) {
        self.strokes = Some(watch);
    }

    /// Adds a mark that the board's own word would have made.
    pub(super) fn note(&mut self, tick: Tick, text: &str) -> Result<(), RecordError> {
        self.writer.mark(tick, Mark::Note(text.to_owned()))
    }

    /// Tick of the newest item.
    pub(super) fn last(&self) -> Tick {
        self.last
    }

    /// True when ticks of this span were lost.
    pub(super) fn lacks(&self, span: Span) -> bool {
        self.holes.iter().any(|hole| hole.span.meets(span))
    }

    /// True when so many ticks in a row were lost in this span.
    pub(super) fn lacks_long(&self, span: Span, ticks: u32) -> bool {
        let is_long = |hole: &Hole| hole.span.last.since(hole.span.first) + 1 >= ticks;
        self.holes.iter().any(|hole| hole.span.meets(span) && is_long(hole))
    }

    /// True when ticks of this span were lost while the lever moved by more than a place where it may bind.
    pub(super) fn lacks_motion(&self, span: Span) -> bool {
        let travel = self.calibration.map_or(f32::NAN, |learned| learned.span_counts().abs());
        let hides = |hole: &Hole| hole.moved.is_none_or(|moved| moved > HIDING_SHARE * travel);
        self.holes.iter().any(|hole| hole.span.meets(span) && hides(hole))
    }

    /// Opening at a reading, where the run has a calibration.
    pub(super) fn opening(&self, position: Counts) -> Option<f32> {
        let opening = self.calibration.map(|learned| learned.unclamped_opening(position));
        opening.filter(|opening| opening.is_finite())
    }

    fn take(&mut self, item: &StreamItem) -> Result<(), RecordError> {
        if let StreamItem::Sample(StreamSample { tick, .. }) | StreamItem::State { tick, .. } = item {
            self.last = *tick;
        }
        if let StreamItem::Sample(StreamSample { supply: Some(supply), .. }) = item {
            let (low, high) = self.supply.unwrap_or((supply.0, supply.0));
            self.supply = Some((low.min(supply.0), high.max(supply.0)));
        }
        if let StreamItem::Gap { first, ticks, .. } = item {
            let span = Span { first: *first, last: first.after(ticks.saturating_sub(1)) };
            self.holes.push(Hole { span, before: self.position, moved: None });
        }
        if let StreamItem::Sample(StreamSample { point, .. }) = item {
            let position = point.position();
            for hole in self.holes.iter_mut().rev().take_while(|hole| hole.moved.is_none()) {
                let way = hole.before.map(|before| f32::from(position.0) - f32::from(before.0));
                hole.moved = Some(way.map_or(f32::INFINITY, f32::abs));
            }
            self.position = Some(position);
        }
        if self.strokes.as_ref().is_some_and(|watch| !watch.keeps_whole()) {
            // The stroke's summary counts what was lost of it.
            self.holes.clear();
            if matches!(item, StreamItem::Sample(_) | StreamItem::Gap { .. }) {
                return Ok(());
            }
        }
        self.writer.item(item, self.calibration.as_ref())?;
        self.rows += 1;
        if self.rows >= FLUSH_ROWS {
            self.rows = 0;
            self.writer.flush()?;
        }
        Ok(())
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
        self.made_of_line(bench);
        match ended {
            Ok(value) => Ok((value, self.writer.close(RunStatus::Complete)?)),
            Err(stop) => {
                let dir = self.writer.dir().to_owned();
                // The drive first; the reason of the cut outweighs a second trouble while closing.
                let answered = bench.let_go(&stop);
                let _ends_anyway = self.observer.see(Observed::LetGo(answered.as_ref().copied()));
                if let Some(refusal) = stop.refusal() {
                    self.writer.refused(refusal);
                }
                let _closed = self.writer.close(stop.status());
                Err(RunStop::Kept { stop: Box::new(stop), dir })
            }
        }
    }

    /// What was seen on the line since the hello.
    fn made_of_line(&mut self, bench: &Bench) {
        for (name, note) in bench.rig.line_notes() {
            self.writer.made(name, note);
        }
        let (lost, share) = self.writer.lost();
        self.writer.made("ticks_without_samples", lost.to_string());
        self.writer.made("ticks_without_samples_percent", format!("{:.2}", 100.0 * share));
    }
}

/// Records each item, then shows it to who looks on.
impl Observer for Recording<'_> {
    fn see(&mut self, observed: Observed<'_>) -> Result<(), RunStop> {
        match observed {
            Observed::Begins(part) => {
                if let Some(watch) = &mut self.strokes {
                    watch.begin(part);
                }
            }
            Observed::LetGo(_) => {}
            Observed::Item(item) => self.take(item)?,
        }
        self.observer.see(observed)
    }
}

fn unix_seconds() -> String {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    since.map_or_else(|_| "unknown".into(), |span| span.as_secs().to_string())
}
