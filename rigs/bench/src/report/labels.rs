//! Places labels in a chart so that they do not cover one another: each tries a few spots near its point
//! and takes the first that is free and inside the plot.

use super::path::px;

/// Mean advance of the style sheet's 11.5 px text.
const CHARACTER: f64 = 5.9;
const LINE: f64 = 13.0;

/// Width of a text on the page, by estimate: fonts differ from machine to machine, the bytes must not.
pub(super) fn width_of(text: &str) -> f64 {
    CHARACTER * text.chars().count() as f64
}

/// Where a label wants to stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    /// Beside a point.
    Beside,
    /// On a horizontal line, at its right end.
    LevelEnd,
    /// At the top of a vertical line.
    Top,
}

/// A label with its place.
pub(super) struct PlacedLabel {
    pub(super) class: &'static str,
    pub(super) x: String,
    pub(super) y: String,
    pub(super) text: String,
}

#[derive(Clone, Copy)]
struct Area {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Area {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

struct WantedSpace {
    text: String,
    class: &'static str,
    spots: Vec<(f64, f64)>,
}

/// The labels of one chart. They are placed last, when everything that they must not cover is known.
pub(super) struct Labels {
    plot: Area,
    taken: Vec<Area>,
    wanted: Vec<WantedSpace>,
}

impl Labels {
    pub(super) fn new(left: f64, right: f64, top: f64, bottom: f64) -> Self {
        Self { plot: Area { left, top, right, bottom }, taken: Vec::new(), wanted: Vec::new() }
    }

    /// A straight line across or up the plot that no label may cover.
    pub(super) fn avoid(&mut self, from: (f64, f64), to: (f64, f64)) {
        const HALF: f64 = 0.8;
        self.taken.push(Area {
            left: from.0.min(to.0) - HALF,
            top: from.1.min(to.1) - HALF,
            right: from.0.max(to.0) + HALF,
            bottom: from.1.max(to.1) + HALF,
        });
    }

    /// A label near a point.
    pub(super) fn want(&mut self, text: &str, class: &'static str, at: (f64, f64), anchor: Anchor) {
        if !text.is_empty() {
            let spots = spots(at, width_of(text), anchor);
            self.wanted.push(WantedSpace { text: text.to_owned(), class, spots });
        }
    }

    /// Every label at its place.
    pub(super) fn placed(mut self) -> Vec<PlacedLabel> {
        let wanted = std::mem::take(&mut self.wanted);
        wanted.into_iter().map(|label| self.place(label)).collect()
    }

    fn place(&mut self, label: WantedSpace) -> PlacedLabel {
        let width = width_of(&label.text);
        let area = |&(left, baseline): &(f64, f64)| Area {
            left,
            top: baseline - LINE + 2.0,
            right: left + width,
            bottom: baseline + 3.0,
        };
        let free = |spot: &&(f64, f64)| {
            let area = area(spot);
            let inside = area.left >= self.plot.left
                && area.right <= self.plot.right
                && area.top >= self.plot.top - LINE
                && area.bottom <= self.plot.bottom;
            inside && !self.taken.iter().any(|other| other.meets(&area))
        };
        // With every spot taken, the first is as good as any: a label is never dropped.
        let spot = label.spots.iter().find(free).or(label.spots.first()).copied().unwrap_or_default();
        self.taken.push(area(&spot));
        PlacedLabel { class: label.class, x: px(spot.0), y: px(spot.1), text: label.text }
    }
}

/// Candidate spots, as left edge and baseline, best first.
fn spots((x, y): (f64, f64), width: f64, anchor: Anchor) -> Vec<(f64, f64)> {
    const GAP: f64 = 7.0;
    let (right, left) = (x + GAP, x - GAP - width);
    match anchor {
        Anchor::Beside => {
            let shifts = [4.0, 16.0, -8.0, 28.0, -20.0, 40.0, -32.0];
            shifts.iter().flat_map(|dy| [(right, y + dy), (left, y + dy)]).collect()
        }
        Anchor::LevelEnd => {
            let end = x - width - 4.0;
            [-4.0, 12.0].iter().flat_map(|dy| [0.0, 120.0, 240.0].map(|dx| (end - dx, y + dy))).collect()
        }
        Anchor::Top => [11.0, 24.0, 37.0, 50.0]
            .iter()
            .flat_map(|dy| [(right - 3.0, y + dy), (left + 3.0, y + dy)])
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_near_points_do_not_cover_one_another() {
        let mut labels = Labels::new(50.0, 700.0, 30.0, 250.0);
        for i in 0..6 {
            labels.want("touch 1", "ink", (100.0 + f64::from(i), 100.0), Anchor::Beside);
        }
        labels.avoid((100.0, 0.0), (100.0, 250.0));
        for wanted in std::mem::take(&mut labels.wanted) {
            labels.place(wanted);
        }
        for (i, a) in labels.taken.iter().enumerate() {
            assert!(labels.taken.iter().skip(i + 1).all(|b| !a.meets(b)));
        }
    }
}
