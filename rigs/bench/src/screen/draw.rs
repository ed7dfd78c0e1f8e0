//! Lays a view out on a screen of any size from 60 columns and 20 rows up.
//!
//! In: a view, a frame. Out: one row for each fact, none of them broken in the middle of a word that says how to stop.
//! Colour only repeats what words say.

use ratatui::Frame;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

use super::view::{DriveState, View};

/// Whether the terminal is to be coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Colour {
    /// Yes.
    On,
    /// No: `NO_COLOR` is set.
    Off,
}

/// Columns of the names before the values.
const NAMES: usize = 11;
/// Widest bar; more tells nothing more.
const WIDEST_BAR: usize = 120;

/// Draws everything.
pub(super) fn draw(view: &View, colour: Colour, frame: &mut Frame<'_>) {
    let area = frame.area();
    let mut lines = vec![
        Line::from(format!("{}: {}", view.subject.name, view.subject.doing)),
        Line::styled(view.state(), state_style(view.drive, colour)),
        Line::from(view.phase().to_owned()),
        Line::default(),
    ];
    let width = usize::from(area.width).saturating_sub(2).min(WIDEST_BAR);
    if let Some(bar) = view.bar(width) {
        let gap = width.saturating_sub("closed".len() + "open".len());
        lines.push(Line::from(format!("closed{:gap$}open", "")));
        lines.push(Line::from(bar));
        lines.push(Line::from("O lever   = where a stop may be   | stop found"));
        lines.push(Line::default());
    }
    let value = |(name, value): (&str, String)| {
        Line::from(vec![Span::from(format!("{name:<NAMES$}")), Span::from(value)])
    };
    lines.extend(view.rows().into_iter().map(value));
    // The last row always says how to stop, whatever has no room above it.
    let room = usize::from(area.height).saturating_sub(1);
    lines.truncate(room);
    lines.resize(room, Line::default());
    lines.push(Line::styled(view.how_to_stop(), Style::default().add_modifier(Modifier::REVERSED)));
    frame.render_widget(Paragraph::new(lines), area);
}

fn state_style(drive: DriveState, colour: Colour) -> Style {
    let bold = Style::default().add_modifier(Modifier::BOLD);
    match (colour, drive) {
        (Colour::Off, _) | (Colour::On, DriveState::Waiting) => bold,
        (Colour::On, DriveState::On) => bold.fg(Color::Yellow),
        (Colour::On, DriveState::Stopping | DriveState::Unanswered) => bold.fg(Color::Red),
        (Colour::On, DriveState::Off(_)) => bold.fg(Color::Green),
    }
}
