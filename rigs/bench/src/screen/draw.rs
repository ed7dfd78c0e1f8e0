//! Lays a view out on a screen of any size from 60 columns and 10 rows up.
//!
//! In: a view, a frame. Out: one row for each fact, cut between words only; on a low screen the less needed rows go.
//! Colour only repeats what words say.

use ratatui::Frame;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;

use super::rows::{Need, ScreenRow};
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

/// Draws what there is room for; the last row always says how to stop.
pub(super) fn draw(view: &View, colour: Colour, frame: &mut Frame<'_>) {
    let area = frame.area();
    let width = usize::from(area.width);
    let room = usize::from(area.height).saturating_sub(1);
    let mut lines = within(lines(view, colour, width), room);
    lines.resize(room, Line::default());
    lines.push(Line::styled(view.how_to_stop(), Style::default().add_modifier(Modifier::REVERSED)));
    frame.render_widget(Paragraph::new(lines), area);
}

/// Every line from the top, with how much it is needed.
fn lines(view: &View, colour: Colour, width: usize) -> Vec<(Need, Line<'static>)> {
    let text = |text: &str| Line::from(short(text, width));
    let mut lines = vec![
        (Need::Progress, text(&format!("{}: {}", view.subject.name, view.subject.doing))),
        (Need::Always, Line::styled(short(&view.state(), width), state_style(view.drive, colour))),
        (Need::Always, text(view.phase())),
        (Need::Space, Line::default()),
    ];
    let wide = width.saturating_sub(2).min(WIDEST_BAR);
    if let Some(bar) = view.bar(wide) {
        let gap = wide.saturating_sub("closed".len() + "open".len());
        lines.extend([
            (Need::Legend, Line::from(format!("closed{:gap$}open", ""))),
            (Need::Always, Line::from(bar)),
            (Need::Legend, text("O lever   = where a stop may be   | stop found")),
            (Need::Space, Line::default()),
        ]);
    }
    let row = |row: ScreenRow| {
        let value = short(&row.value, width.saturating_sub(NAMES));
        (row.need, Line::from(vec![Span::from(format!("{:<NAMES$}", row.name)), Span::from(value)]))
    };
    lines.extend(view.rows().into_iter().map(row));
    lines
}

/// As many as there is room for, in their order: the least needed go first, the lowest of them before the others.
fn within(mut lines: Vec<(Need, Line<'static>)>, room: usize) -> Vec<Line<'static>> {
    while lines.len() > room {
        let least = lines.iter().enumerate().max_by_key(|(at, (need, _))| (*need, *at)).map(|(at, _)| at);
        let Some(least) = least else { break };
        lines.remove(least);
    }
    lines.into_iter().map(|(_, line)| line).collect()
}

/// A text that is cut between two words where it does not fit.
fn short(text: &str, width: usize) -> String {
    const MORE: &str = " …";
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for word in text.split_inclusive(' ') {
        if (kept.clone() + word).trim_end().chars().count() + MORE.chars().count() > width {
            break;
        }
        kept.push_str(word);
    }
    kept.trim_end().to_owned() + MORE
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

#[cfg(test)]
mod tests {
    use super::*;
    use firmware_core::faults::{Fault, FaultSet, LimitSet};
    use firmware_core::learn::{LearnEvent, LearnPhase, Stop};
    use firmware_core::link::{Drive, Point, Source, StreamState};
    use firmware_core::units::{Celsius, Tick, Volt};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    use crate::actuator::DEMO;
    use crate::procedure::{Observed, PlanPart};
    use crate::rig::{StreamItem, StreamSample};
    use crate::screen::view::{HOW_TO_STOP, MayDrive, Subject};

    /// A learn with everything on the screen that there can be.
    fn learning() -> View {
        let settings = DEMO.profile().unwrap().settings;
        let windows = settings.learn.windows.attached.cold;
        let mut view = View::new(Subject {
            name: "u1".to_owned(),
            doing: "learning the end stops",
            windows: Some(windows),
            spring: settings.actuator.spring,
            stops: None,
            drive: MayDrive::Yes,
            place: None,
        });
        view.see(Observed::Begins(PlanPart { start: Tick(0), ticks: 9000, before: 0, planned: 9000 }));
        let phase = LearnEvent::Phase(LearnPhase::Pressing(Stop::Closed));
        let phase = StreamItem::Learn { number: 0, tick: Tick(1), event: phase };
        view.see(Observed::Item(&phase));
        let gap = StreamItem::Gap { first: Tick(1), ticks: 7, cause: crate::rig::GapCause::LostOnLine };
        view.see(Observed::Item(&gap));
        view.touches = [1, 0];
        let faults = FaultSet::only(Fault::NotCalibrated);
        let position = windows.closed.centre() as i16;
        view.see(Observed::Item(&StreamItem::Sample(StreamSample {
            tick: Tick(1000),
            point: Point { position, current: 600, ..Point::default() },
            state: StreamState {
                source: Source::Learn,
                drive: Drive::Duty,
                faults,
                ..StreamState::default()
            },
            limits: LimitSet::default(),
            supply: Some(Volt(13.5)),
            temperature: Some(Celsius(40.0)),
        })));
        view
    }

    fn rows(view: &View, (columns, rows): (u16, u16)) -> Vec<String> {
        let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
        terminal.draw(|frame| draw(view, Colour::Off, frame)).unwrap();
        let cells = terminal.backend().buffer().content();
        let row =
            |cells: &[ratatui::buffer::Cell]| cells.iter().map(|cell| cell.symbol()).collect::<String>();
        cells.chunks(usize::from(columns)).map(row).collect()
    }

    #[test]
    fn drive_phase_travel_and_how_to_stop_stay_on_every_screen() {
        let always = [
            "DRIVE ON",
            "pushing against the closed stop",
            "O",
            "may jump",
            "limits met",
            "faults",
            HOW_TO_STOP,
        ];
        let reading = ["position", "current", "supply"];
        let more = ["u1: learning", "command", "housing", "touches", "time left", "lost"];
        let legend = ["closed  ", "O lever"];
        for (size, seen, gone) in [
            ((80, 24), [&always[..], &reading, &more, &legend].concat(), vec![]),
            ((80, 16), [&always[..], &reading, &more].concat(), legend.to_vec()),
            ((60, 12), [&always[..], &reading].concat(), ["lost", "time left", "O lever"].to_vec()),
            ((60, 10), [&always[..], &reading].concat(), [&more[..], &legend].concat()),
        ] {
            let rows = rows(&learning(), size);
            let screen = rows.join("\n");
            assert!(seen.iter().all(|word| screen.contains(word)), "{size:?}:\n{screen}");
            assert!(gone.iter().all(|word| !screen.contains(word)), "{size:?}:\n{screen}");
            assert!(rows.last().unwrap().starts_with(HOW_TO_STOP), "{size:?}:\n{screen}");
            let bar =
                rows.iter().find(|row| row.contains("==") && row.contains('O') && !row.contains("lever"));
            assert!(bar.is_some_and(|bar| bar.trim_end().len() == usize::from(size.0) - 2), "{screen}");
        }
    }

    #[test]
    fn a_row_that_does_not_fit_ends_after_a_word() {
        assert_eq!(short("one two three", 13), "one two three");
        assert_eq!(short("one two three", 12), "one two …");
        assert_eq!(short("one two three", 8), "one …");
    }
}
