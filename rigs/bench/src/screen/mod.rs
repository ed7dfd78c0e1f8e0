//! What a person sees while a unit moves or is watched: a screen at a terminal, plain lines elsewhere.
//!
//! In: what every observer is shown. Out: words and a bar on standard error. A key stops: the observer ends the run, and
//! the procedure lets go of the drive. No procedure knows that there is a screen.

mod bar;
mod draw;
mod keyboard;
mod place;
mod rows;
mod view;
mod words;

use std::io::{self, IsTerminal, Stderr};
use std::time::{Duration, Instant};

use firmware_core::link::Pacing;
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::crossterm::{cursor, execute};

use crate::console::{self, Console, Style};
use crate::interrupt;
use crate::procedure::{Observed, Observer, RunStop};
use draw::{Colour, draw};
use keyboard::Keyboard;
pub(crate) use place::{PlaceArgs, WantedPlace};
use view::{DriveState, View};
pub(crate) use view::{MayDrive, Subject};

/// Between two pictures: ten a second, as many as a slow line carries.
const BETWEEN_PICTURES: Duration = Duration::from_millis(100);
/// How long a picture of the stopped drive stays: the prompt is back within a second.
const LAST_PICTURE: Duration = Duration::from_millis(800);
/// A stepped rig is through before anyone could read: a screen comes only when it takes longer than this.
const STEPPED_PATIENCE: Duration = Duration::from_secs(1);

/// The screen, or what stands for it. Dropped, it gives the terminal back.
pub(crate) struct LiveScreen {
    view: View,
    shown: ShownOn,
    /// When it may first be shown.
    due: Instant,
    drawn_at: Option<Instant>,
    /// When a key asked to stop.
    asked_at: Option<Instant>,
    /// How long the last picture stays.
    stays: Duration,
}

/// On what it is shown.
enum ShownOn {
    /// A terminal that waits for its first picture.
    Ready(Colour),
    /// A terminal with pictures, and its keys.
    Pictures(Box<Terminal<CrosstermBackend<Stderr>>>, Colour, Keyboard),
    /// Plain lines.
    Lines,
    /// Nothing: a machine reads.
    Nothing,
}

impl LiveScreen {
    /// A screen for this subject, as the console and the terminal allow.
    pub(crate) fn new(console: &Console, subject: Subject, pacing: Pacing) -> Self {
        let is_terminal = io::stderr().is_terminal() && io::stdin().is_terminal();
        let is_dumb = std::env::var_os("TERM").is_none_or(|name| name == "dumb");
        let shown = match console.style() {
            Style::Json => ShownOn::Nothing,
            Style::Plain if is_terminal && !is_dumb => ShownOn::Ready(colour()),
            Style::Plain => ShownOn::Lines,
        };
        let patience = match pacing {
            Pacing::Stepped => STEPPED_PATIENCE,
            Pacing::Paced => Duration::ZERO,
        };
        let now = Instant::now();
        Self {
            view: View::new(subject),
            shown,
            due: now + patience,
            drawn_at: None,
            asked_at: None,
            stays: Duration::ZERO,
        }
    }

    /// A terminal that refuses pictures gets lines.
    fn open(&mut self, colour: Colour) {
        let opened = enable_raw_mode()
            .and_then(|()| execute!(io::stderr(), EnterAlternateScreen, cursor::Hide))
            .and_then(|()| Terminal::new(CrosstermBackend::new(io::stderr())));
        self.shown = match opened {
            Ok(terminal) => ShownOn::Pictures(Box::new(terminal), colour, Keyboard::listen()),
            Err(_) => {
                give_back();
                ShownOn::Lines
            }
        };
    }

    /// Notes a key that stops; where nothing is driven there is nothing to wait for.
    fn note_key(&mut self) {
        let ShownOn::Pictures(.., keyboard) = &self.shown else { return };
        if let (Some(at), MayDrive::Yes, None) = (keyboard.asked_at(), self.view.subject.drive, self.asked_at)
        {
            self.asked_at = Some(at);
            self.view.drive = DriveState::Stopping;
        }
    }

    fn picture(&mut self) {
        if let ShownOn::Pictures(terminal, colour, _) = &mut self.shown {
            let (view, colour) = (&self.view, *colour);
            // A terminal that is gone takes no picture; what moves goes on until its own signal comes.
            let _gone = terminal.draw(|frame| draw(view, colour, frame));
            self.drawn_at = Some(Instant::now());
        }
    }
}

impl Observer for LiveScreen {
    fn see(&mut self, observed: Observed<'_>) -> Result<(), RunStop> {
        let line = self.view.see(observed);
        if let ShownOn::Ready(colour) = self.shown
            && Instant::now() >= self.due
        {
            self.open(colour);
        }
        if let (ShownOn::Lines, Some(line)) = (&self.shown, &line) {
            console::say(&format!("  {line}"));
        }
        self.note_key();
        if let Observed::LetGo(answered) = observed {
            if let (Ok(()), Some(at)) = (answered, self.asked_at) {
                self.view.stopped(at.elapsed().as_millis());
                self.stays = LAST_PICTURE;
            }
            self.picture();
            return Ok(());
        }
        if interrupt::asked() {
            return Err(RunStop::Interrupted);
        }
        if self.drawn_at.is_none_or(|at| at.elapsed() >= BETWEEN_PICTURES) {
            self.picture();
        }
        Ok(())
    }
}

impl Drop for LiveScreen {
    fn drop(&mut self) {
        // The keyboard is given back before the terminal.
        let ShownOn::Pictures(..) = std::mem::replace(&mut self.shown, ShownOn::Nothing) else { return };
        std::thread::sleep(self.stays);
        give_back();
        if self.asked_at.is_some() {
            console::say(&self.view.state());
        }
    }
}

fn give_back() {
    // A terminal that is gone needs nothing back.
    let _gone = execute!(io::stderr(), LeaveAlternateScreen, cursor::Show);
    let _gone = disable_raw_mode();
}

/// As the convention of `NO_COLOR` (no-color.org) has it: set and not empty.
fn colour() -> Colour {
    if std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) { Colour::Off } else { Colour::On }
}
