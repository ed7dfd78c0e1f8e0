//! When a schedule may turn: close after each change of the demand, wide apart later.

use crate::scenario::Scenario;

/// First interval after a change of the demand, s; each further one is twice as long.
const FIRST_S: f64 = 0.2;

/// Times of the coarsest grid, rising from 0 to the end.
pub(super) fn coarse(scenario: &Scenario) -> Vec<f64> {
    let end_s = scenario.duration_s;
    let changes = scenario.demand.iter().map(|point| point.t_s).filter(|t_s| *t_s < end_s);
    let mut edges: Vec<f64> = std::iter::once(0.0).chain(changes).chain([end_s]).collect();
    edges.dedup_by(|later, earlier| *later - *earlier < FIRST_S);
    let mut times = Vec::new();
    for pair in edges.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        times.push(from);
        let mut interval = FIRST_S;
        let mut next = from + interval;
        // A knot ahead of the next change: with foresight the vanes move before it.
        let last = to - FIRST_S;
        while next + 0.5 * interval < last {
            times.push(next);
            interval *= 2.0;
            next += interval;
        }
        if last > from + 0.5 * FIRST_S {
            times.push(last);
        }
    }
    times.push(end_s);
    times
}

/// The same grid with every interval halved.
pub(super) fn halved(times_s: &[f64]) -> Vec<f64> {
    let middles = times_s.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
    let mut all: Vec<f64> =
        times_s.iter().copied().zip(middles).flat_map(|(t_s, middle)| [t_s, middle]).collect();
    all.extend(times_s.last());
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::builtins;

    #[test]
    fn every_built_in_scenario_has_a_rising_grid_from_start_to_end() {
        for built_in in builtins() {
            let scenario = built_in.scenario().unwrap();
            let grid = coarse(&scenario);
            assert!(grid.windows(2).all(|pair| pair[0] < pair[1]), "{}: {grid:?}", built_in.name);
            assert_eq!((grid[0], grid[grid.len() - 1]), (0.0, scenario.duration_s), "{}", built_in.name);
            assert_eq!(halved(&grid).len(), 2 * grid.len() - 1);
        }
    }
}
