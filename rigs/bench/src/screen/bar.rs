//! The bar from the closed end to the open end: `=` where a stop may be, `|` where one was found, `O` the lever.

use firmware_core::settings::StopWindows;

/// Room beside the windows on the bar, in half widths.
const MARGIN: f32 = 1.5;

/// A bar of so many characters; all readings in counts.
pub(super) fn bar(windows: StopWindows, found: [Option<f32>; 2], lever: Option<f32>, width: usize) -> String {
    let (closed, open) = (windows.closed, windows.open);
    let sign = if open.centre() >= closed.centre() { 1.0 } else { -1.0 };
    let from = closed.centre() - sign * closed.half_width() * MARGIN;
    let to = open.centre() + sign * open.half_width() * MARGIN;
    let cell = |counts: f32| (((counts - from) / (to - from)).clamp(0.0, 1.0) * (width as f32 - 1.0)).round();
    let mut bar = vec!['-'; width];
    for window in [closed, open] {
        let edges = [window.min.as_f32(), window.max.as_f32()].map(cell);
        let (low, high) = (edges[0].min(edges[1]) as usize, edges[0].max(edges[1]) as usize);
        bar.iter_mut().take(high + 1).skip(low).for_each(|c| *c = '=');
    }
    let marks = found.iter().flatten().map(|counts| (*counts, '|')).chain(lever.map(|counts| (counts, 'O')));
    for (counts, with) in marks {
        if let Some(c) = bar.get_mut(cell(counts) as usize) {
            *c = with;
        }
    }
    bar.into_iter().collect()
}
