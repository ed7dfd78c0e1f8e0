//! What the sheets' errors leave uncertain in the results of a match: stop, throat, opening map, boost, exhaust
//! pressure, time to a common boost.
//!
//! In: two sheets, their match, the comparison on the engine. Out: standard uncertainties, errors that both sheets
//! share kept common. Stop and openings answer "what would have been right"; on the engine the calibration and the
//! stop stay as the sheets gave them, and the parts differ. The engine has no uncertainty: it is invented.

use serde::Serialize;

use super::air::AirComparison;
use super::opening_map::{Met, OpeningMatch};
use super::same_boost::time_share;
use super::turbo::{LoadStep, TurboOnEngine, engine_that_suits};
use crate::PartsSheet;
use crate::errors::uncertainties;
use plant::airpath::{AirState, EngineParams};
use plant::nozzle::NozzleModel;

/// Step of the air path in a draw, s: times differ by less than 0.1 ms from those in steps of 1 ms.
const STEP_S: f64 = 5e-3;
/// A common boost that is not reached by then is not reached, s.
const GIVE_UP_S: f64 = 20.0;
const PA_PER_KPA: f64 = 1e3;

/// Standard uncertainties of a match.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ChainUncertainty {
    /// Vane angle at the minimum-flow stop, degrees.
    pub stop_deg: f64,
    /// Throat width there, mm.
    pub throat_mm: f64,
    /// Effective area that the calibration expects there, mm².
    pub wanted_mm2: f64,
    /// New openings of the map; none where the area is not met.
    pub openings: Vec<Option<f64>>,
    /// At each load step.
    pub points: Vec<PointUncertainty>,
}

/// Standard uncertainties of new less old at a load step, re-mapped.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PointUncertainty {
    /// Boost at the end, kPa: a difference, so neither absolute nor gauge.
    #[serde(rename = "boost_difference_kpa")]
    pub boost_kpa: f64,
    /// Exhaust pressure at the end, kPa: a difference too.
    #[serde(rename = "exhaust_difference_kpa")]
    pub exhaust_kpa: f64,
    /// Time to the common boost, s; none without a common boost, and where more than one in a hundred turbos within
    /// their tolerances never get there.
    pub sooner_s: Option<f64>,
}

/// What stays while the parts differ from their sheets.
pub struct Chain<'a> {
    pair: (&'a PartsSheet, &'a PartsSheet),
    found: &'a OpeningMatch,
    engine: EngineParams,
    openings: Vec<f64>,
    points: Vec<ChainPoint>,
}

/// A load step with the states that a search starts from.
struct ChainPoint {
    step: LoadStep,
    openings: [f64; 2],
    level_pa: Option<f64>,
    rests: [[AirState; 2]; 2],
}

/// Results of one pair of sheets, one after the other.
const OF_MATCH: usize = 3;
const OF_POINT: usize = 3;

impl<'a> Chain<'a> {
    /// Prepares the chain from the comparison as the sheets have it; none where a turbo does not rest on the
    /// engine.
    #[must_use]
    pub fn of(
        pair: (&'a PartsSheet, &'a PartsSheet),
        found: &'a OpeningMatch,
        knots: u32,
        air: &[AirComparison],
    ) -> Option<Self> {
        let engine = engine_that_suits(pair.0, &found.old);
        let turbos = [
            TurboOnEngine::try_new(pair.0, found.old, &engine).ok()?,
            TurboOnEngine::try_new(pair.1, found.new, &engine).ok()?,
        ];
        let point = |run: &AirComparison| {
            let openings = [run.point.old_opening, run.new_opening];
            let rests = |turbo: &TurboOnEngine, opening| {
                let vanes = turbo.vanes(opening);
                let rest = |op| turbo.rest(vanes, &op, None).ok();
                Some([rest(run.point.before())?, rest(run.point.after())?])
            };
            Some(ChainPoint {
                step: run.point,
                openings,
                level_pa: run.same_boost.as_ref().map(|same| same.boost_kpa * PA_PER_KPA),
                rests: [rests(&turbos[0], openings[0])?, rests(&turbos[1], openings[1])?],
            })
        };
        let openings = found.knots(knots).iter().map(|knot| knot.old_opening).collect();
        let points = air.iter().map(point).collect::<Option<Vec<_>>>()?;
        Some(Self { pair, found, engine, openings, points })
    }

    /// Stop angle, throat, wanted area; the new openings; for each load step new less old of boost, exhaust
    /// pressure and time to the common boost. None where the sheets make no ring.
    #[must_use]
    pub fn results(&self, old: &PartsSheet, new: &PartsSheet) -> Option<Vec<f64>> {
        let (old_nozzle, new_nozzle) = (old.nozzle().ok()?, new.nozzle().ok()?);
        let least = new.get(crate::Field::LeastAngle).map(|angle| angle.value);
        let right = OpeningMatch::between(old_nozzle, new_nozzle, least);
        let mut results = vec![
            right.new.angle_deg(0.0),
            right.new.ring.gap_mm(right.new.angle_deg(0.0)),
            old_nozzle.effective_area_mm2(0.0),
        ];
        results.extend(self.openings.iter().map(|opening| right.opening(*opening)));
        let as_set = NozzleModel { lever_start: self.found.new.lever_start, ..new_nozzle };
        let turbos = [
            TurboOnEngine::try_new(old, old_nozzle, &self.engine).ok()?,
            TurboOnEngine::try_new(new, as_set, &self.engine).ok()?,
        ];
        for point in &self.points {
            let of = |side: usize| point.run(&turbos[side], side);
            let ([old_boost, old_exhaust, old_s], [boost, exhaust, s]) = (of(0)?, of(1)?);
            results.extend([boost - old_boost, exhaust - old_exhaust, s - old_s]);
        }
        Some(results)
    }

    /// Uncertainties of all of them.
    #[must_use]
    pub fn uncertainty(&self) -> Option<ChainUncertainty> {
        let nominal = self.results(self.pair.0, self.pair.1)?;
        let all = uncertainties(self.pair, nominal.len(), |old, new| self.results(old, new));
        let at = |place: usize| all.get(place).copied().unwrap_or(f64::NAN);
        let met = |opening: f64| self.found.map(opening).1 == Met::SameArea;
        let (of_openings, of_points) = (OF_MATCH, OF_MATCH + self.openings.len());
        let point = |(row, point): (usize, &ChainPoint)| {
            let first = of_points + OF_POINT * row;
            PointUncertainty {
                boost_kpa: at(first),
                exhaust_kpa: at(first + 1),
                sooner_s: point.level_pa.map(|_| at(first + 2)).filter(|seconds| seconds.is_finite()),
            }
        };
        let opening = |(row, opening): (usize, &f64)| met(*opening).then_some(at(of_openings + row));
        Some(ChainUncertainty {
            stop_deg: at(0),
            throat_mm: at(1),
            wanted_mm2: at(2),
            openings: self.openings.iter().enumerate().map(opening).collect(),
            points: self.points.iter().enumerate().map(point).collect(),
        })
    }
}

impl ChainPoint {
    /// Boost and exhaust pressure at the end, kPa, and time to the common boost, s; NaN where it is never reached.
    fn run(&self, turbo: &TurboOnEngine, side: usize) -> Option<[f64; 3]> {
        let vanes = turbo.vanes(self.openings[side]);
        let [before, after] = self.rests[side];
        let start = turbo.rest(vanes, &self.step.before(), Some(before)).ok()?;
        let end = turbo.rest(vanes, &self.step.after(), Some(after)).ok()?;
        let time_s = self.level_pa.map_or(0.0, |level_pa| {
            let (mut state, mut time_s) = (start, 0.0);
            while time_s < GIVE_UP_S {
                let next = turbo.step(&state, vanes, &self.step.after(), STEP_S);
                if next[0] >= level_pa {
                    return time_s + STEP_S * time_share(&state, &next, level_pa);
                }
                (state, time_s) = (next, time_s + STEP_S);
            }
            f64::NAN
        });
        Some([end[0] / PA_PER_KPA, end[1] / PA_PER_KPA, time_s])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matching::{compare, match_sheets};

    /// Nominal times of the chain, in its long steps, against those of the comparison, in steps of 1 ms.
    #[test]
    fn long_steps_give_the_same_times() {
        let sheet = |text| PartsSheet::parse("t", text).unwrap();
        let old = sheet(include_str!("../../../../rigs/profiles/sheets/ring-a.toml"));
        let new = sheet(include_str!("../../../../rigs/profiles/sheets/ring-b.toml"));
        let found = match_sheets(&old, &new).unwrap();
        let air = compare(&old, &new, &found, 280.0).unwrap();
        let results = Chain::of((&old, &new), &found, 2, &air).unwrap().results(&old, &new).unwrap();
        let mut compared = 0;
        for (row, run) in air.iter().enumerate() {
            let Some(same) = run.same_boost else { continue };
            let sooner_s = results[OF_MATCH + 2 + OF_POINT * row + 2];
            let error_s = sooner_s - (same.new_after.time_s - same.old.time_s);
            assert!(error_s.abs() < 1e-4, "{}: {error_s}", run.point.name);
            compared += 1;
        }
        assert!(compared >= 3);
    }
}
