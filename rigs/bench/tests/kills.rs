//! The tool ended in the middle of a motion: by SIGKILL, SIGTERM and Ctrl-C at any moment. What was recorded stays,
//! marked incomplete, and the drive goes off: by a Stop where the tool can still send one, else by the lease.
//!
//! Quick: 4 of each. At length: `KILLS=100 cargo test --release -p vanebench --test kills`.
#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

mod hostile;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use hostile::runs::{Row, binary, last_tick, number, rows, unmarked};
use hostile::watched::{Seen, Watched};
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use virtual_rig::runner::RunningRig;

/// Runs side by side: they mostly wait for the clock.
const WORKERS: usize = 4;
/// From the signal to the drive's end, where the tool can send a Stop: in 19 of 20, for the machine may be busy.
const STOP_WITHIN: Duration = Duration::from_millis(100);
/// The drive lease and what a busy machine adds.
const LEASE_WITHIN: Duration = Duration::from_millis(700);
/// Between two looks at the tool. What this machine sleeps longer than that is taken off the times.
const LOOK: Duration = Duration::from_millis(1);
/// From the signal to the prompt.
const PROMPT_WITHIN: Duration = Duration::from_secs(1);
/// Rows that are not yet on disk when the tool is killed: what it holds back at most.
const HELD_BACK_TICKS: u32 = 300;
/// After a signal that the tool answers: the batch and the bytes on their way.
const ON_THE_WAY_TICKS: u32 = 150;

/// File with what the tool said.
const SAID: &str = "said";

/// How the drive went off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Off {
    /// The run had ended by itself: a busy machine starves tool or rig.
    BeforeTheSignal,
    /// It was off when the signal came and stayed so.
    Already,
    ByStop(Duration),
    ByLease(Duration),
    Never,
}

impl Off {
    fn stop(self) -> Option<Duration> {
        if let Self::ByStop(span) = self { Some(span) } else { None }
    }

    fn lease(self) -> Option<Duration> {
        if let Self::ByLease(span) = self { Some(span) } else { None }
    }
}

#[derive(Debug)]
struct Ended {
    off: Off,
    to_prompt: Duration,
    code: Option<i32>,
    wrong: Option<String>,
}

impl Ended {
    fn is_bad(&self, signal: Signal) -> bool {
        let answered = self.to_prompt <= PROMPT_WITHIN && self.code == Some(130);
        match self.off {
            Off::BeforeTheSignal => false,
            Off::Never => true,
            Off::ByStop(_) | Off::Already => self.wrong.is_some() || (signal != Signal::SIGKILL && !answered),
            Off::ByLease(span) => self.wrong.is_some() || span > LEASE_WITHIN,
        }
    }

    fn before_the_signal(said: String) -> Self {
        Self { off: Off::BeforeTheSignal, to_prompt: Duration::ZERO, code: None, wrong: Some(said) }
    }
}

struct Job {
    folder: tempfile::TempDir,
    _rig: RunningRig,
    seen: Arc<Mutex<Seen>>,
    tool: Child,
}

impl Job {
    /// A learn on a paced rig, begun as for a real unit.
    fn start(seed: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (rig, seen) = Watched::new(seed);
        let rig = RunningRig::start(rig).unwrap();
        let criteria = hostile::runs::write_criteria(folder.path());
        let mut command = Command::new(binary());
        command.args([
            "learn",
            "--unit",
            "u1",
            "--hands-clear",
            "--records",
            "units",
            "--checked",
            "all",
            "--port",
        ]);
        command.arg(rig.path()).args(criteria).current_dir(folder.path());
        let said = fs::File::create(folder.path().join(SAID)).unwrap();
        let tool = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(said).spawn().unwrap();
        Self { folder, _rig: rig, seen, tool }
    }

    fn run_dir(&self) -> PathBuf {
        self.folder.path().join("units/u1/0001-learn")
    }

    /// The last line of what the tool said.
    fn said(&self) -> String {
        let said = fs::read_to_string(self.folder.path().join(SAID)).unwrap();
        said.lines().last().unwrap_or_default().to_owned()
    }

    fn seen(&self) -> Seen {
        *self.seen.lock().unwrap()
    }

    /// Waits until the lever is driven: moments before have nothing to stop. Gives what the tool said where it ended
    /// without a motion.
    fn wait_for_drive(&mut self) -> Result<(), String> {
        while !self.seen().is_driven {
            if let Some(status) = self.tool.try_wait().unwrap() {
                return Err(format!("{status}: {}", self.said()));
            }
            thread::sleep(Duration::from_millis(1));
        }
        Ok(())
    }

    fn end(mut self, signal: Signal) -> Ended {
        if self.tool.try_wait().unwrap().is_some() {
            return Ended::before_the_signal(self.said());
        }
        let before = rows(&self.run_dir().join("samples.csv"));
        let ticks = self.seen().ticks;
        let sent_at = Instant::now();
        kill(Pid::from_raw(self.tool.id().cast_signed()), signal).unwrap();
        let (status, late) = self.wait_for_end();
        let to_prompt = sent_at.elapsed().saturating_sub(late);
        let off = self.wait_for_off(sent_at, late);
        let answered = signal != Signal::SIGKILL;
        let wrong = kept(&self.run_dir(), &before, ticks, answered);
        Ended { off, to_prompt, code: status.code(), wrong }
    }

    /// Waits for the prompt; gives also how much too late this machine woke a sleeper meanwhile.
    fn wait_for_end(&mut self) -> (ExitStatus, Duration) {
        let mut late = Duration::ZERO;
        loop {
            let asleep_at = Instant::now();
            if let Some(status) = self.tool.try_wait().unwrap() {
                return (status, late);
            }
            thread::sleep(LOOK);
            late += asleep_at.elapsed().saturating_sub(LOOK * 2);
        }
    }

    fn wait_for_off(&self, sent_at: Instant, late: Duration) -> Off {
        // The lease may run out long after the tool is gone.
        thread::sleep(LEASE_WITHIN.saturating_sub(sent_at.elapsed()));
        let seen = self.seen();
        let after =
            |at: Option<Instant>| at.filter(|at| *at > sent_at).map(|at| (at - sent_at).saturating_sub(late));
        match (seen.is_driven, after(seen.off_at), after(seen.stop_at)) {
            (true, _, _) => Off::Never,
            (false, None, _) => Off::Already,
            (false, Some(off), Some(_)) => Off::ByStop(off),
            (false, Some(off), None) => Off::ByLease(off),
        }
    }
}

/// What is wrong with the record of a run that was ended.
fn kept(run_dir: &Path, before: &[Row], ticks: u32, answered: bool) -> Option<String> {
    let now = rows(&run_dir.join("samples.csv"));
    let Ok(run) = fs::read_to_string(run_dir.join("run.toml")) else { return Some("no run.toml".into()) };
    let Ok(file) = toml::from_str::<toml::Value>(&run) else { return Some("run.toml cannot be read".into()) };
    let state = file.get("status").and_then(|status| status.get("state")).and_then(toml::Value::as_str);
    if state == Some("complete") {
        return Some("marked complete".into());
    }
    // The last of them may have been half on disk when it was read.
    if !now.starts_with(before.split_last().map_or(before, |(_, whole)| whole)) {
        return Some(format!("{} rows were on disk, {} are", before.len(), now.len()));
    }
    let start = hostile::runs::first_tick(&now).unwrap_or(0);
    if let Some(hole) = unmarked(&now, start) {
        return Some(hole);
    }
    let missing = ticks.saturating_sub(last_tick(&now).unwrap_or(ticks));
    let allowed = if answered { ON_THE_WAY_TICKS } else { HELD_BACK_TICKS };
    (missing > allowed).then(|| format!("the last {missing} ticks are missing"))
}

fn ends(signal: Signal, count: usize) -> Vec<Ended> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    thread::scope(|scope| {
        for _ in 0..WORKERS.min(count) {
            scope.spawn(|| {
                loop {
                    let number = next.fetch_add(1, Ordering::SeqCst) as u64;
                    if number >= count as u64 {
                        return;
                    }
                    let mut job = Job::start(1 + number % 5);
                    if let Err(said) = job.wait_for_drive() {
                        done.lock().unwrap().push(Ended::before_the_signal(said));
                        continue;
                    }
                    // Within the shortest learn; a moment that the seed draws.
                    let moment = Pcg64Mcg::seed_from_u64(number).random_range(0..4000);
                    thread::sleep(Duration::from_millis(moment));
                    let ended = job.end(signal);
                    done.lock().unwrap().push(ended);
                }
            });
        }
    });
    done.into_inner().unwrap()
}

/// Prints what came of the ends; asserts that each was as it must be.
fn held_up(signal: Signal) -> Vec<Ended> {
    let ends = ends(signal, number("KILLS", 4));
    let (stops, leases) = (spans(&ends, Off::stop), spans(&ends, Off::lease));
    let in_time = stops.iter().filter(|span| **span <= STOP_WITHIN).count();
    let missed = ends.iter().filter(|ended| ended.off == Off::BeforeTheSignal).count();
    let bad: Vec<&Ended> = ends.iter().filter(|ended| ended.is_bad(signal)).collect();
    let most = |spans: &[Duration]| spans.iter().max().copied().unwrap_or_default().as_millis();
    println!(
        "{signal}: {} runs, {missed} ended before it; off by a Stop {} (within 100 ms {in_time}, at most {} ms), by the \
         lease {} (at most {} ms); bad {}",
        ends.len(),
        stops.len(),
        most(&stops),
        leases.len(),
        most(&leases),
        bad.len()
    );
    ends.iter().filter(|ended| ended.wrong.is_some()).for_each(|ended| println!("  {ended:?}"));
    assert!(bad.is_empty(), "{bad:?}");
    // A machine that runs other tests leaves the tool without time now and then.
    let spared = |share: usize| (ends.len() / share).max(1);
    assert!(missed <= spared(10), "{missed} ended before the signal");
    assert!(stops.len() - in_time <= spared(20), "{in_time} of {} Stops in time", stops.len());
    ends
}

fn spans(ends: &[Ended], kind: fn(Off) -> Option<Duration>) -> Vec<Duration> {
    ends.iter().filter_map(|ended| kind(ended.off)).collect()
}

#[test]
fn a_killed_tool_leaves_its_record_and_the_lease_lets_go() {
    held_up(Signal::SIGKILL);
}

#[test]
fn a_terminated_tool_stops_the_drive_and_closes_its_record() {
    let ends = held_up(Signal::SIGTERM);
    assert!(
        ends.iter().all(|ended| !matches!(ended.off, Off::ByLease(_))),
        "a Stop must come before the lease"
    );
}

#[test]
fn ctrl_c_stops_the_drive_and_closes_the_record() {
    let ends = held_up(Signal::SIGINT);
    assert!(
        ends.iter().all(|ended| !matches!(ended.off, Off::ByLease(_))),
        "a Stop must come before the lease"
    );
}
