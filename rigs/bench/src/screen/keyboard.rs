//! The keyboard while a screen is shown: a key that stops is heard also while the line is silent.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyModifiers};

use crate::{interrupt, terminal};

/// Between two looks at whether the screen is still there.
const BETWEEN_LOOKS: Duration = Duration::from_millis(20);

/// How long the listener is waited for.
const PATIENCE: Duration = Duration::from_millis(200);

/// Listens on a thread of its own. Dropped, it is through with the keyboard.
pub(super) struct Keyboard {
    shared: Arc<KeyboardState>,
    listener: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct KeyboardState {
    is_over: AtomicBool,
    asked_at: Mutex<Option<Instant>>,
}

impl Keyboard {
    /// Begins to listen; without a thread the keys are deaf, and signals still stop.
    pub(super) fn listen() -> Self {
        let shared = Arc::new(KeyboardState::default());
        let theirs = Arc::clone(&shared);
        let listener = thread::Builder::new().name("keyboard".into()).spawn(move || hear(&theirs)).ok();
        Self { shared, listener }
    }

    /// When a key first asked to stop.
    pub(super) fn asked_at(&self) -> Option<Instant> {
        self.shared.asked_at.lock().ok().and_then(|at| *at)
    }
}

impl Drop for Keyboard {
    fn drop(&mut self) {
        self.shared.is_over.store(true, Ordering::SeqCst);
        // Waited for so that it takes no key from the next question; never longer than a terminal that closes
        // between two looks may hold it.
        let begun = Instant::now();
        while self.listener.as_ref().is_some_and(|listener| !listener.is_finished())
            && begun.elapsed() < PATIENCE
        {
            thread::sleep(BETWEEN_LOOKS);
        }
        interrupt::key_is_answered();
    }
}

fn hear(shared: &KeyboardState) {
    while !shared.is_over.load(Ordering::SeqCst) && !terminal::is_gone() {
        if !event::poll(BETWEEN_LOOKS).unwrap_or(false) {
            continue;
        }
        if let Ok(Event::Key(key)) = event::read()
            && is_stop(key)
        {
            if let Ok(mut at) = shared.asked_at.lock() {
                at.get_or_insert_with(Instant::now);
            }
            interrupt::ask_by_key();
        }
    }
}

fn is_stop(key: KeyEvent) -> bool {
    let is_interrupt = key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
    is_interrupt || matches!(key.code, KeyCode::Char(' ') | KeyCode::Esc)
}
