//! Tells how far along a long verb is, from the first second, and about how much time is left.
//!
//! In: steps done and wanted. Out: on a terminal one line that is rewritten, elsewhere a line at growing intervals; all on
//! standard error, nothing with `--json` or `--quiet`.

use std::io::IsTerminal;
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::console::{Console, ShownProgress, say};

/// Time between two looks at the steps.
const LOOK: Duration = Duration::from_millis(250);
/// When a line is due without a terminal; after the last of these, one every [`FURTHER`].
const DUE: [Duration; 3] = [Duration::from_secs(1), Duration::from_secs(10), Duration::from_secs(30)];
/// Time between two later lines.
const FURTHER: Duration = Duration::from_secs(60);

/// The progress of one verb; telling ends when it is dropped.
pub(crate) struct ProgressLine {
    shared: Arc<ProgressState>,
    teller: Option<JoinHandle<()>>,
}

struct ProgressState {
    steps: Mutex<Steps>,
    over: Condvar,
}

/// How far it is.
#[derive(Debug, Clone, Copy, Default)]
struct Steps {
    done: u64,
    wanted: u64,
    /// The first report. What was done by then may come from a checkpoint.
    first: Option<(u64, Instant)>,
    is_over: bool,
}

impl ProgressLine {
    /// Starts telling how far `what` is.
    pub(crate) fn begin(console: &Console, what: &str) -> Self {
        let shared = Arc::new(ProgressState { steps: Mutex::default(), over: Condvar::new() });
        let teller = match console.progress() {
            ShownProgress::Hidden => None,
            ShownProgress::Shown => {
                let (theirs, what) = (Arc::clone(&shared), what.to_owned());
                // Without a thread nothing is told, and the work goes on.
                thread::Builder::new().name("progress".into()).spawn(move || tell(&theirs, &what)).ok()
            }
        };
        Self { shared, teller }
    }

    /// Reports `done` of `wanted` steps.
    pub(crate) fn set(&self, done: u64, wanted: u64) {
        let mut steps = self.shared.steps.lock().unwrap_or_else(PoisonError::into_inner);
        (steps.done, steps.wanted) = (done, wanted);
        steps.first.get_or_insert_with(|| (done, Instant::now()));
    }
}

impl Drop for ProgressLine {
    fn drop(&mut self) {
        self.shared.steps.lock().unwrap_or_else(PoisonError::into_inner).is_over = true;
        self.shared.over.notify_all();
        // A teller that panicked has told its last.
        let _ended = self.teller.take().map(JoinHandle::join);
    }
}

/// Tells until it is over.
fn tell(shared: &ProgressState, what: &str) {
    let begun = Instant::now();
    let line = line();
    let mut told = 0;
    let mut steps = shared.steps.lock().unwrap_or_else(PoisonError::into_inner);
    while !steps.is_over {
        let waited = shared.over.wait_timeout(steps, LOOK);
        (steps, _) = waited.unwrap_or_else(PoisonError::into_inner);
        let now = Instant::now();
        match &line {
            Some(line) => line.set_message(words(what, *steps, now - begun, now)),
            None if !steps.is_over && now - begun >= due(told) => {
                told += 1;
                say(&words(what, *steps, now - begun, now));
            }
            None => {}
        }
    }
    if let Some(line) = line {
        line.finish_and_clear();
    }
}

/// The line that is rewritten, where there is a terminal.
fn line() -> Option<ProgressBar> {
    if !std::io::stderr().is_terminal() {
        return None;
    }
    let line = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(10));
    let style = ProgressStyle::with_template("{wide_msg}").ok()?;
    line.set_style(style);
    Some(line)
}

/// When the next line is due after `told` lines.
fn due(told: usize) -> Duration {
    let further = told.saturating_sub(DUE.len() - 1) as u32;
    DUE[told.min(DUE.len() - 1)] + FURTHER * further
}

/// Numbers first: a narrow terminal cuts the end.
fn words(what: &str, steps: Steps, so_far: Duration, now: Instant) -> String {
    let left = left(steps, now)
        .map_or_else(|| "no estimate yet".to_owned(), |left| format!("about {} left", time(left)));
    let percent = (100 * steps.done).checked_div(steps.wanted).unwrap_or(0);
    format!("{percent} % done, {} so far, {left}: {what}", time(so_far))
}

/// Time left at the pace since the first report.
fn left(steps: Steps, now: Instant) -> Option<Duration> {
    let (done_then, then) = steps.first?;
    let done = steps.done.checked_sub(done_then).filter(|done| *done > 0)?;
    let share = steps.wanted.saturating_sub(steps.done) as f64 / done as f64;
    Duration::try_from_secs_f64((now - then).as_secs_f64() * share).ok()
}

fn time(length: Duration) -> String {
    const MINUTE: u64 = 60;
    const HOUR: u64 = 60 * MINUTE;
    let seconds = length.as_secs_f64().round() as u64;
    match seconds {
        0..MINUTE => format!("{seconds} s"),
        MINUTE..HOUR => format!("{} min {} s", seconds / MINUTE, seconds % MINUTE),
        HOUR.. => format!("{} h {} min", seconds / HOUR, seconds % HOUR / MINUTE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_follows_from_the_pace_since_the_first_report() {
        let then = Instant::now();
        let (now, so_far) = (then + Duration::from_secs(20), Duration::from_secs(30));
        // From a checkpoint: 500 were done at the start.
        let steps = Steps { done: 600, wanted: 1000, first: Some((500, then)), is_over: false };
        assert_eq!(
            words("guard", steps, so_far, now),
            "60 % done, 30 s so far, about 1 min 20 s left: guard"
        );
        let first = Steps { done: 500, ..steps };
        assert_eq!(words("guard", first, so_far, now), "50 % done, 30 s so far, no estimate yet: guard");
        assert_eq!(
            words("guard", Steps::default(), so_far, now),
            "0 % done, 30 s so far, no estimate yet: guard"
        );
        assert_eq!(time(Duration::from_secs(7_260)), "2 h 1 min");
    }

    #[test]
    fn lines_come_from_the_first_second_and_grow_sparse() {
        let seconds: Vec<u64> = (0..6).map(|told| due(told).as_secs()).collect();
        assert_eq!(seconds, [1, 10, 30, 90, 150, 210]);
    }
}
