//! What a person sees at a terminal, seen by tmux: the screen while a unit moves or is watched, the key that stops it,
//! the line that is lost, and plain lines where there is no terminal.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on says where it stopped")]

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread::sleep;
use std::time::{Duration, Instant};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

/// Long enough for a busy computer; nothing here is a measure of speed.
const PATIENCE: Duration = Duration::from_secs(60);
const HOW_TO_LEAVE: &str = "SPACE or Ctrl-C leaves. A spring may still move the lever.";
const HOW_TO_STOP: &str = "SPACE or Ctrl-C stops. EMERGENCY: cut the motor supply.";

/// A terminal of a given size with one command in it.
struct Screen {
    socket: String,
    rows: usize,
    columns: usize,
}

impl Screen {
    /// Nothing where tmux is missing, which is said aloud.
    fn open((columns, rows): (usize, usize), at: &Path, environment: &str, args: &str) -> Option<Self> {
        if Command::new("tmux").arg("-V").output().is_err() {
            eprintln!(
                "SKIPPED: tmux is not installed, nothing was seen of the screen; .ci/install installs it"
            );
            assert!(std::env::var_os("CI").is_none(), "tmux is missing where it must not be");
            return None;
        }
        // A server that is told to end may still hold its socket: each screen gets one of its own.
        static OPENED: AtomicU32 = AtomicU32::new(0);
        let number = OPENED.fetch_add(1, Ordering::Relaxed);
        let socket = format!("vanebench-{}-{number}", std::process::id());
        let screen = Self { socket, rows, columns };
        let tool = assert_cmd::cargo_bin!("vanebench");
        // What stands after the end is read too.
        let command = format!("{environment} {} {args}; echo ended $?; sleep 60", tool.display());
        let made = screen
            .tmux(&["new-session", "-d", "-x", &columns.to_string(), "-y", &rows.to_string(), &command], at);
        assert!(made.is_some(), "tmux refuses a session");
        Some(screen)
    }

    fn tmux(&self, args: &[&str], at: &Path) -> Option<String> {
        let mut tmux = Command::new("tmux");
        tmux.args(["-L", &self.socket, "-f", "/dev/null"]).args(args).current_dir(at);
        let output = tmux.env("TERM", "xterm-256color").output().unwrap();
        output.status.success().then(|| String::from_utf8(output.stdout).unwrap())
    }

    fn text(&self) -> String {
        self.tmux(&["capture-pane", "-p"], Path::new("/")).unwrap_or_default()
    }

    /// The same with the codes of its colours.
    fn coded(&self) -> String {
        self.tmux(&["capture-pane", "-p", "-e"], Path::new("/")).unwrap_or_default()
    }

    fn press(&self, key: &str) {
        self.tmux(&["send-keys", key], Path::new("/")).unwrap();
    }

    /// Waits until the screen shows all of these.
    fn wait_for(&self, words: &[&str]) -> String {
        let begun = Instant::now();
        loop {
            let text = self.text();
            if words.iter().all(|word| text.contains(word)) {
                return text;
            }
            assert!(begun.elapsed() < PATIENCE, "no {words:?} on:\n{text}");
            sleep(Duration::from_millis(20));
        }
    }

    /// The last row says how to stop, no row is too long, none holds what is no character.
    fn is_clean(&self, text: &str, last: &str) {
        let rows: Vec<&str> = text.lines().collect();
        assert_eq!(rows.len(), self.rows, "{text}");
        assert!(rows.iter().all(|row| row.chars().count() <= self.columns), "{text}");
        assert!(rows.last().unwrap().starts_with(last), "{text}");
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.tmux(&["kill-server"], Path::new("/"));
    }
}

/// One folder for each test; its name names the session.
fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

#[test]
fn a_learn_is_told_on_screens_of_every_size() {
    for size in [(80, 24), (60, 20), (200, 60)] {
        let folder = folder();
        let learn = "learn --port virtual:healthy,paced --unit u1";
        let Some(screen) = Screen::open(size, folder.path(), "", learn) else { return };
        // All in one look: between two frames a terminal may show half of each.
        let text = screen.wait_for(&[
            "u1: learning the end stops",
            "DRIVE ON",
            "1 of 3",
            " counts",
            "\nO lever",
            "\nposition",
            "\ncommand",
            "\ncurrent",
            "\nsupply",
            "\nhousing",
            "\ntouches",
            "\nlimits met",
            "\nfaults",
            "\ntime left",
            "\nmay jump   either way; drive off: the spring pulls it OPEN",
        ]);
        screen.is_clean(&text, HOW_TO_STOP);
        let after = screen.wait_for(&["both stops accepted", "ended 0"]);
        assert!(!after.contains(HOW_TO_STOP), "the screen was not given back:\n{after}");
    }
}

#[test]
fn a_key_stops_at_once_and_the_screen_says_when_the_drive_is_off() {
    for key in ["Space", "C-c"] {
        let folder = folder();
        let learn = "learn --port virtual:healthy,paced --unit u1";
        let Some(screen) = Screen::open((80, 24), folder.path(), "", learn) else { return };
        screen.wait_for(&["touches", "DRIVE ON"]);
        screen.press(key);
        let text =
            screen.wait_for(&["DRIVE OFF, ", " ms after the key", "none, drive off", "stopped by a key"]);
        screen.is_clean(&text, HOW_TO_STOP);
        let told = text.lines().find(|line| line.starts_with("DRIVE OFF, ")).unwrap();
        println!("{key}: {told}");
        screen.wait_for(&["stopped by the user", "ended 130"]);
        // Off by a Stop: a lease that ran out would say that the board heard nothing.
        let run = fs::read_dir(folder.path().join("units/u1")).unwrap().find_map(|entry| {
            let file = entry.unwrap().path().join("run.toml");
            fs::read_to_string(file).ok()
        });
        let run = run.unwrap();
        assert!(run.contains("stopped by the user") && !run.contains("heard nothing"), "{run}");
    }
}

#[test]
fn a_blocked_unit_is_refused_in_words() {
    let folder = folder();
    let learn = "learn --port virtual:blocked-travel,paced --unit u1";
    let Some(screen) = Screen::open((80, 24), folder.path(), "", learn) else { return };
    screen.wait_for(&["DRIVE ON", HOW_TO_STOP]);
    screen.wait_for(&["NOT learned", "try:", "ended 1"]);
}

#[test]
fn colour_is_never_the_only_sign_and_can_be_switched_off() {
    let folder = folder();
    let coded = |environment: &str, unit: &str| {
        let learn = format!("learn --port virtual:healthy,paced --unit {unit}");
        let screen = Screen::open((80, 24), folder.path(), environment, &learn)?;
        screen.wait_for(&["DRIVE ON"]);
        Some(screen.coded())
    };
    let (Some(with), Some(without)) = (coded("", "u1"), coded("NO_COLOR=1", "u2")) else { return };
    // 30 to 37 and 90 to 97 are the colours of text in ECMA-48 and its common extension.
    let is_coloured = |text: &str| {
        text.split("\u{1b}[").skip(1).filter_map(|code| code.split_once('m')).any(|(codes, _)| {
            codes
                .split(';')
                .filter_map(|code| code.parse::<u32>().ok())
                .any(|code| (30..=38).contains(&code) || (90..=97).contains(&code))
        })
    };
    assert!(is_coloured(&with), "{with:?}");
    assert!(!is_coloured(&without), "{without:?}");
}

#[test]
fn monitor_shows_a_unit_at_rest_and_how_far_a_screw_has_to_go() {
    let folder = folder();
    let monitor = "monitor --port virtual:healthy,paced --target 20deg --arm 30 --pitch 1";
    let Some(screen) = Screen::open((80, 24), folder.path(), "", monitor) else { return };
    let text = screen.wait_for(&["nothing is driven", "DRIVE OFF", "to go", " turns", " V"]);
    screen.is_clean(&text, HOW_TO_LEAVE);
    screen.press("Space");
    let after = screen.wait_for(&[
        "NO FAULT SEEN AT REST",
        "A spring or gravity may still move the lever",
        "ended 0",
    ]);
    assert!(!after.contains("STOPPING") && after.matches("Nothing was driven").count() == 1, "{after}");
}

/// A practice rig as `rig` serves it, and the options that lead to it.
fn rig(at: &Path) -> (Child, String) {
    let mut rig = Command::new(assert_cmd::cargo_bin!("vanebench"));
    rig.args(["--json", "rig"]).current_dir(at).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut rig = rig.spawn().unwrap();
    let mut told = String::new();
    let mut out = BufReader::new(rig.stdout.take().unwrap());
    while !told.ends_with("\n}\n") {
        assert!(out.read_line(&mut told).unwrap() > 0, "{told}");
    }
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    let device = told["device"].as_str().unwrap();
    let files = "--profile practice/practice.toml --limits practice/practice.limits.toml";
    (rig, format!("--port {device} --unit u1 {files}"))
}

#[test]
fn an_unplugged_line_is_told_and_nothing_starts_when_it_is_back() {
    let folder = folder();
    let at = folder.path();
    let (mut first, options) = rig(at);
    let learn = format!("learn {options} --hands-clear");
    let Some(screen) = Screen::open((80, 24), at, "", &learn) else {
        first.kill().unwrap();
        return;
    };
    screen.wait_for(&["DRIVE ON"]);
    first.kill().unwrap();
    first.wait().unwrap();
    let text = screen.wait_for(&["ended 3"]);
    assert!(text.contains("/dev/pts/"), "{text}");
    drop(screen);
    let (mut second, options) = rig(at);
    // Who only looks needs no limits.
    let (options, _limits) = options.split_once(" --limits").unwrap();
    let screen = Screen::open((80, 24), at, "", &format!("monitor {options}")).unwrap();
    let text = screen.wait_for(&["none, drive off", "DRIVE OFF"]);
    screen.is_clean(&text, HOW_TO_LEAVE);
    drop(screen);
    second.kill().unwrap();
    second.wait().unwrap();
}

#[test]
fn a_key_is_heard_while_the_line_is_silent() {
    let folder = folder();
    let at = folder.path();
    let (mut rig, options) = rig(at);
    let learn = format!("learn {options} --hands-clear");
    let Some(screen) = Screen::open((80, 24), at, "", &learn) else {
        rig.kill().unwrap();
        return;
    };
    screen.wait_for(&["DRIVE ON"]);
    let rigs_process = Pid::from_raw(rig.id().cast_signed());
    kill(rigs_process, Signal::SIGSTOP).unwrap();
    let begun = Instant::now();
    screen.press("Space");
    // Whoever waits for the line first would end undetermined, with the line lost.
    screen.wait_for(&["stopped by the user", "ended 130"]);
    println!("prompt {} ms after the key", begun.elapsed().as_millis());
    kill(rigs_process, Signal::SIGCONT).unwrap();
    rig.kill().unwrap();
    rig.wait().unwrap();
}

#[test]
fn a_closed_terminal_ends_the_tool() {
    let folder = folder();
    let learn = "learn --port virtual:healthy,paced --unit u1";
    let Some(screen) = Screen::open((80, 24), folder.path(), "", learn) else { return };
    screen.wait_for(&["touches", "DRIVE ON"]);
    let pane = screen.tmux(&["list-panes", "-F", "#{pane_pid}"], Path::new("/")).unwrap();
    let tool = fs::read_to_string(format!("/proc/{0}/task/{0}/children", pane.trim())).unwrap();
    let tool = Path::new("/proc").join(tool.trim());
    assert!(tool.exists());
    drop(screen);
    let begun = Instant::now();
    while tool.exists() {
        assert!(begun.elapsed() < PATIENCE, "the tool lives on without its terminal");
        sleep(Duration::from_millis(20));
    }
}

#[test]
fn what_a_job_leaves_open_is_asked_for_until_the_answer_is_one_of_those_allowed() {
    let folder = folder();
    let bench = "bench --port virtual:healthy --unit u1 --from step";
    let Some(screen) = Screen::open((80, 24), folder.path(), "", bench) else { return };
    for (question, answer, next) in [
        ("Name of the job, Enter for none (--job):", "", "State:"),
        ("State: f as found, l as left, Enter for none (--state):", "x", "x\nState:"),
        ("State: f as found, l as left, Enter for none (--state):", "l", "reference"),
        ("Customer's reference", "", "actuator"),
        ("Serial number on the actuator", "", "turbo"),
        ("Serial number on the turbo", "", "Mounted"),
        ("Mounted: a attached to the ring, f free, e on the engine", "f", "Who stands"),
        ("Who stands beside it", "", "ended 2"),
    ] {
        screen.wait_for(&[question]);
        if !answer.is_empty() {
            screen.press(answer);
        }
        screen.press("Enter");
        screen.wait_for(&[next]);
    }
    // The answer went along.
    screen.wait_for(&["It was never learned free, cold"]);
}

#[test]
fn without_a_terminal_there_are_plain_lines() {
    let folder = folder();
    let mut learn = Command::new(assert_cmd::cargo_bin!("vanebench"));
    learn.args(["learn", "--port", "virtual:healthy", "--unit", "u1"]).current_dir(folder.path());
    let output = learn.stdin(Stdio::null()).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    for word in
        ["going to the", "closed stop, touch 1: ", "open stop, touch 3: ", "both stops found and accepted"]
    {
        assert!(said.contains(word), "no {word:?} in:\n{said}");
    }
    let all = said + &String::from_utf8(output.stdout).unwrap();
    assert!(!all.contains('\u{1b}') && !all.contains('\r'), "{all:?}");
}
