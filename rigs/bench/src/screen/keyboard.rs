//! The keyboard while a screen is shown: a key that stops is heard also while the line is silent.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyModifiers};

use crate::interrupt;

/// Between two looks at whether the screen is still there.
const BETWEEN_LOOKS: Duration = Duration::from_millis(20);

/// Listens on a thread of its own. Dropped, it is through with the keyboard.
pub(super) struct Keyboard {
    shared: Arc<Shared>,
    listener: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct Shared {
    is_over: AtomicBool,
    asked_at: Mutex<Option<Instant>>,
}

impl Keyboard {
    /// Begins to listen; without a thread the keys are deaf, and signals still stop.
    pub(super) fn listen() -> Self {
        let shared = Arc::new(Shared::default());
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
        if let Some(listener) = self.listener.take() {
            let _ended = listener.join();
        }
        interrupt::key_is_answered();
    }
}

fn hear(shared: &Shared) {
    while !shared.is_over.load(Ordering::SeqCst) {
        match event::poll(BETWEEN_LOOKS) {
            Ok(false) => {}
            Ok(true) => {
                if let Ok(Event::Key(key)) = event::read()
                    && is_stop(key)
                {
                    if let Ok(mut at) = shared.asked_at.lock() {
                        at.get_or_insert_with(Instant::now);
                    }
                    interrupt::ask_by_key();
                }
            }
            // A terminal that is gone says nothing more.
            Err(_) => return,
        }
    }
}

fn is_stop(key: KeyEvent) -> bool {
    let is_interrupt = key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
    is_interrupt || matches!(key.code, KeyCode::Char(' ') | KeyCode::Esc)
}
