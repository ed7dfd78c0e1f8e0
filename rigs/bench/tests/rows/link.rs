//! Rows about the line, the signals and what ends a run.

use std::fs;
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use virtual_rig::pty::Pty;
use virtual_rig::runner::RunningRig;

use super::hostile::runs::{Bench, Ran, Verb, Verdict, binary, first_tick, unmarked, write_criteria};
use super::hostile::watched::Watched;
use super::hostile::{Disguise, Mishap, Trouble};
use super::tool::{PATIENCE, folder, within};

pub(crate) fn b10_question() -> Result<(), String> {
    let at = folder();
    let terminal = Pty::open().unwrap();
    let device = fs::File::options().read(true).write(true).open(terminal.path()).unwrap();
    let mut learn = Command::new(binary());
    learn.args(["learn", "--port", "/dev/no-such-port", "--unit", "U1"]).args(write_criteria(at.path()));
    let mut learn = learn.current_dir(at.path()).stdin(device).stderr(Stdio::null()).spawn().unwrap();
    thread::sleep(Duration::from_millis(800));
    if learn.try_wait().unwrap().is_some() {
        return Err("it did not ask".into());
    }
    let asked_at = Instant::now();
    kill(Pid::from_raw(learn.id().cast_signed()), Signal::SIGINT).unwrap();
    while learn.try_wait().unwrap().is_none() && asked_at.elapsed() < Duration::from_secs(1) {
        thread::sleep(Duration::from_millis(5));
    }
    let code = learn.try_wait().unwrap().map(|status| status.code());
    let _gone = learn.kill();
    learn.wait().unwrap();
    if code == Some(Some(130)) { Ok(()) } else { Err(format!("ended with {code:?}")) }
}

pub(crate) fn b11() -> Result<(), String> {
    let at = folder();
    let (rig, seen) = Watched::new(1);
    let rig = RunningRig::start(rig).unwrap();
    let criteria = write_criteria(at.path());
    let command = || {
        let mut learn = Command::new(binary());
        learn.args(["learn", "--unit", "U1", "--hands-clear", "--checked", "all", "--port"]).arg(rig.path());
        learn.args(&criteria).current_dir(at.path()).stdin(Stdio::null());
        learn
    };
    let mut first = command().stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let began = Instant::now();
    while !seen.lock().unwrap().is_driven {
        if began.elapsed() > Duration::from_secs(5) {
            first.kill().unwrap();
            first.wait().unwrap();
            return Err("the first learn never drove".into());
        }
        thread::sleep(Duration::from_millis(5));
    }
    first.kill().unwrap();
    first.wait().unwrap();
    let said = within(command(), PATIENCE);
    said.must(said.code == Some(0), "the restart failed")
}

pub(crate) fn b18_sigterm() -> Result<(), String> {
    let at = folder();
    let mut learn = Command::new(binary());
    learn.args(["learn", "--port", "virtual:healthy,paced", "--unit", "U1"]).current_dir(at.path());
    let mut learn = learn.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    thread::sleep(Duration::from_millis(1500));
    kill(Pid::from_raw(learn.id().cast_signed()), Signal::SIGTERM).unwrap();
    let code = learn.wait().unwrap().code();
    let closed = fs::read_to_string(at.path().join("units/U1/0001-learn/run.toml")).unwrap_or_default();
    let says_why = closed.contains("reason");
    if code == Some(130) && says_why { Ok(()) } else { Err(format!("exit {code:?}, closed: {says_why}")) }
}

/// A learn and a step of a sound unit, each under its trouble.
pub(crate) fn learn_and_step(learn: Trouble, step: Trouble) -> [Ran; 2] {
    let bench = Bench::new("healthy", 1, Some("all"));
    [bench.run(Verb::Learn, learn), bench.run(Verb::Step, step)]
}

pub(crate) fn trouble(mishap: Mishap, share: f64) -> Trouble {
    Trouble { mishap, share, seed: 1, disguise: Disguise::None }
}

pub(crate) fn must_be(ran: &Ran, verdict: Verdict) -> Result<(), String> {
    if ran.verdict == verdict {
        Ok(())
    } else {
        Err(format!("{:?} after {:?}: {}", ran.verdict, ran.took, ran.said))
    }
}

pub(crate) fn l1() -> Result<(), String> {
    let foreign = trouble(Mishap::Foreign, 0.05);
    let [learn, step] = learn_and_step(foreign, foreign);
    must_be(&learn, Verdict::Accepted)?;
    must_be(&step, Verdict::Accepted)?;
    whole_from_the_start(&step)
}

/// A step's record against the first tick of one on a clean line.
pub(crate) fn whole_from_the_start(step: &Ran) -> Result<(), String> {
    let [_, clean] = learn_and_step(Trouble::CLEAN, Trouble::CLEAN);
    let start = first_tick(&clean.rows).ok_or("a clean step has no samples")?;
    unmarked(&step.rows, start).map_or(Ok(()), Err)
}

pub(crate) fn l3() -> Result<(), String> {
    let [learn, step] = learn_and_step(Trouble::CLEAN, trouble(Mishap::LoseStart, 0.0));
    must_be(&learn, Verdict::Accepted)?;
    whole_from_the_start(&step)
}

pub(crate) fn l4() -> Result<(), String> {
    let bench = Bench::new("healthy", 1, Some("all"));
    must_be(&bench.run(Verb::Learn, Trouble::CLEAN), Verdict::Accepted)?;
    for verb in [Verb::Friction, Verb::Step] {
        let ran = bench.run(verb, trouble(Mishap::DropSamples, 0.3));
        match ran.judged {
            Some([Verdict::Undetermined, Verdict::Undetermined]) => {}
            judged => return Err(format!("{verb:?} with 30 % loss judged {judged:?}, {}", ran.said)),
        }
    }
    Ok(())
}

pub(crate) fn l5() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::LoseReleased, 0.0));
    must_be(&ran, Verdict::Accepted)?;
    let quick = ran.took < Duration::from_secs(5);
    if quick && ran.struck == 1 { Ok(()) } else { Err(format!("took {:?}, lost {}", ran.took, ran.struck)) }
}

pub(crate) fn l6() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::TickRate, 0.0));
    must_be(&ran, Verdict::Undetermined)?;
    if ran.said.contains("500") { Ok(()) } else { Err(format!("the rate is not named: {}", ran.said)) }
}

pub(crate) fn l7() -> Result<(), String> {
    let bench = Bench::new("healthy", 1, Some("all"));
    must_be(&bench.run(Verb::Learn, Trouble::CLEAN), Verdict::Accepted)?;
    let ran = bench.run(Verb::Step, trouble(Mishap::DropSamples, 0.2));
    if !ran.said.contains("lost") {
        return Err("the console is silent".into());
    }
    let dir = bench.newest(Verb::Step).ok_or("no record")?;
    let run = fs::read_to_string(dir.join("run.toml")).unwrap();
    let missing: Vec<&str> =
        ["lost", "damaged", "cut", "overlong"].into_iter().filter(|word| !run.contains(word)).collect();
    if missing.is_empty() { Ok(()) } else { Err(format!("run.toml leaves out {missing:?}")) }
}

pub(crate) fn l10() -> Result<(), String> {
    let ran = Bench::new("healthy", 1, Some("all")).run(Verb::Learn, trouble(Mishap::EchoAlways, 0.0));
    must_be(&ran, Verdict::Undetermined)?;
    let says = ran.said.to_lowercase().contains("echo");
    let quick = ran.took < Duration::from_secs(3);
    if says && quick { Ok(()) } else { Err(format!("after {:?}: {}", ran.took, ran.said)) }
}
