//! What held from when to when: one lane under another, over the same time.

use askama::Template;

use super::axis;
use super::words::listed;

/// Times that stand below the lanes.
const TIMES: usize = 5;
/// Width of a lane's drawing; it is stretched to the page.
const WIDTH: f64 = 720.0;
/// Narrowest span that is still seen.
const NARROWEST: f64 = 2.0;

/// What a lane shows; the style sheet gives it colour, its name says it in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LaneKind {
    /// What was put into the world.
    PutIn,
    /// What the controller saw.
    Seen,
    /// What its guard did about it.
    Done,
}

/// One lane.
#[derive(Debug, Clone, PartialEq)]
pub struct SpanLane {
    /// What held, in words.
    pub name: String,
    /// What it shows.
    pub kind: LaneKind,
    /// From when to when, in order.
    pub spans: Vec<(f64, f64)>,
}

/// Lanes over one stretch of time, s.
#[derive(Debug, Clone, PartialEq)]
pub struct Spans {
    /// What they show, as a short sentence.
    pub title: String,
    /// From when to when.
    pub over: (f64, f64),
    /// The lanes, from the top.
    pub lanes: Vec<SpanLane>,
}

struct DrawnLane<'a> {
    name: &'a str,
    class: &'static str,
    told: String,
    d: String,
}

/// Lanes ready for the page.
#[derive(Template)]
#[template(path = "spans.html")]
pub(super) struct DrawnSpans<'a> {
    title: &'a str,
    lanes: Vec<DrawnLane<'a>>,
    times: Vec<String>,
}

impl<'a> DrawnSpans<'a> {
    /// Lays them out.
    pub(super) fn new(spans: &'a Spans) -> Self {
        let (from, to) = spans.over;
        let time = |at: usize| from + (to - from) * at as f64 / (TIMES - 1) as f64;
        let lanes = spans.lanes.iter().map(|lane| DrawnLane {
            name: &lane.name,
            class: lane.kind.class(),
            told: format!("{}: {} s", lane.name, listed(&lane.spans.iter().map(words).collect::<Vec<_>>())),
            d: lane.spans.iter().map(|span| bar(*span, spans.over)).collect(),
        });
        let times = (0..TIMES).map(|at| format!("{} s", axis::text(time(at), 1)));
        Self { title: &spans.title, lanes: lanes.collect(), times: times.collect() }
    }
}

fn words((from, to): &(f64, f64)) -> String {
    format!("{} to {}", axis::text(*from, 2), axis::text(*to, 2))
}

fn bar((from, to): (f64, f64), (first, last): (f64, f64)) -> String {
    let at = |time: f64| WIDTH * (time - first) / (last - first).max(f64::MIN_POSITIVE);
    let left = at(from).min(WIDTH - NARROWEST);
    format!("M{left:.1} 1H{:.1}V11H{left:.1}Z", at(to).max(left + NARROWEST))
}

impl LaneKind {
    fn class(self) -> &'static str {
        match self {
            Self::PutIn => "put-in",
            Self::Seen => "seen",
            Self::Done => "done",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_span_is_drawn_within_the_lane_and_told_in_words() {
        let lane = SpanLane {
            name: "sees boost-range".into(),
            kind: LaneKind::Seen,
            spans: vec![(2.0, 2.001), (10.0, 10.0)],
        };
        let spans = Spans { title: String::new(), over: (0.0, 10.0), lanes: vec![lane] };
        let drawn = DrawnSpans::new(&spans);
        assert_eq!(drawn.lanes[0].d, "M144.0 1H146.0V11H144.0ZM718.0 1H720.0V11H718.0Z");
        assert_eq!(drawn.lanes[0].told, "sees boost-range: 2.00 to 2.00, 10.00 to 10.00 s");
        assert_eq!(drawn.times, ["0.0 s", "2.5 s", "5.0 s", "7.5 s", "10.0 s"]);
    }
}
