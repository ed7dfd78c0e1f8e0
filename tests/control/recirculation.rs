//! Boost with the recirculation valve open: the trim against a scan of the plant, which knows no controller.
//!
//! Exhaust that goes back to the intake does not pass the turbine, so with the valve open there is an opening below which
//! closing further loses boost. The scan holds the vanes at 51 openings and lets the engine come to rest at each.

use firmware_core::controller::Controller;
use firmware_core::sample::{EngineDemand, Mode, Request};
use firmware_core::settings::Settings;
use firmware_core::units::{Kilopascal, Load, Rpm, Tick};
use plant::airpath::EngineInputs;
use plant::world::{EngineState, World, WorldConfig};
use rayon::prelude::*;
use study::run::perfect_calibration;
use study::scenario::wanted_boost_kpa;
use vanebench_checks::reference_dir;

const FULL_LOAD_MG: f64 = 40.0;
/// Openings of the scan.
const SCANNED: u32 = 51;
/// Time for boost to settle and the search to end, and the time then looked at, ticks.
const SETTLE_TICKS: u32 = 16_000;
const LOOK_TICKS: u32 = 4000;
/// Share of the boost that can be had which must be reached.
const REACHED_SHARE: f64 = 0.98;
const THIRD: f64 = 0.35;
/// How far to the closed side of the most boost the vanes may rest: the scan's step and the search's last one.
const WRONG_SIDE: f64 = 0.08;

#[derive(Debug, Clone, Copy, PartialEq)]
struct SteadyPoint {
    speed_rpm: f64,
    load: f64,
    egr_mm2: f64,
}

/// Boost, kPa, and the opening that goes with it.
#[derive(Debug, Clone, Copy)]
struct BoostAt {
    kpa: f64,
    opening: f64,
}

impl SteadyPoint {
    fn inputs(&self) -> EngineInputs {
        let egr_area_m2 = self.egr_mm2 * 1e-6;
        EngineInputs { egr_area_m2, ..EngineInputs::new(self.speed_rpm, self.load * FULL_LOAD_MG) }
    }

    /// The most boost of all openings.
    fn most(&self) -> BoostAt {
        let at = |step: u32| {
            let opening = f64::from(step) / f64::from(SCANNED - 1);
            let mut world = World::new(&WorldConfig::default(), 1).unwrap();
            world.settle(opening, &self.inputs()).ok()?;
            Some(BoostAt { kpa: world.truth().boost_kpa, opening })
        };
        (0..SCANNED).filter_map(at).max_by(|a, b| a.kpa.total_cmp(&b.kpa)).unwrap()
    }

    /// Where the controller holds boost, from vanes that stand at `start`.
    fn held(&self, target_kpa: f64, start: f64) -> BoostAt {
        let config = WorldConfig::default();
        let mut world = World::new(&config, 1).unwrap();
        let mut controller = Controller::new(Settings::default());
        controller.set_calibration(Some(perfect_calibration(&config).unwrap()));
        world.settle(start, &self.inputs()).unwrap();
        let request = Request::Engine(EngineDemand {
            mode: Mode::Boost,
            boost_target: Kilopascal(target_kpa as f32),
            engine_speed: Rpm(self.speed_rpm as f32),
            load: Load::saturating(self.load as f32, Load::MIN),
        });
        let mut mean = BoostAt { kpa: 0.0, opening: 0.0 };
        for tick in 0..SETTLE_TICKS + LOOK_TICKS {
            let output = controller.tick(&world.sample(Tick(tick)), &request);
            world.step(output.duty, &EngineState::Running(self.inputs())).unwrap();
            assert!(output.faults.is_empty(), "{self:?} at {tick}: {:?}", output.faults);
            if tick >= SETTLE_TICKS {
                mean.kpa += world.truth().boost_kpa / f64::from(LOOK_TICKS);
                mean.opening += world.truth().opening / f64::from(LOOK_TICKS);
            }
        }
        mean
    }
}

/// At full load and high speed an engine at rest with its vanes a third open is past its limits.
fn is_past_limits(point: &SteadyPoint) -> bool {
    point.speed_rpm > 2000.0 && point.load > 0.8
}

fn points() -> Vec<SteadyPoint> {
    [1600.0, 2000.0, 2400.0, 2800.0]
        .into_iter()
        .flat_map(|speed_rpm| [0.3, 0.5, 0.9].map(|load| (speed_rpm, load)))
        .flat_map(|(speed_rpm, load)| {
            [0.0, 60.0, 110.0].map(|egr_mm2| SteadyPoint { speed_rpm, load, egr_mm2 })
        })
        .collect()
}

/// A point with the boost that is wanted, the most there is, and what is held.
type Row = (SteadyPoint, f64, BoostAt, BoostAt);

/// What is held from `start` at each point.
fn rows(points: &[SteadyPoint], start: f64) -> Vec<Row> {
    let row = |point: &SteadyPoint| {
        let target_kpa = wanted_boost_kpa(point.speed_rpm, point.load);
        (*point, target_kpa, point.most(), point.held(target_kpa, start))
    };
    let rows: Vec<_> = points.par_iter().map(row).collect();
    for (point, target_kpa, most, held) in &rows {
        println!(
            "{} rpm, load {}, {} mm²: wanted {target_kpa:.0}, most {:.1} at {:.2}, held {:.1} at {:.2}",
            point.speed_rpm, point.load, point.egr_mm2, most.kpa, most.opening, held.kpa, held.opening
        );
    }
    rows
}

fn assert_reached(rows: &[Row]) {
    for (point, target_kpa, most, held) in rows {
        assert!(held.kpa >= REACHED_SHARE * target_kpa.min(most.kpa), "{point:?}: {held:?} of {most:?}");
        assert!(held.opening >= most.opening - WRONG_SIDE, "{point:?}: {held:?} of {most:?}");
    }
}

#[test]
fn boost_comes_within_two_percent_of_what_can_be_had_whatever_recirculates() {
    let points: Vec<_> = points().into_iter().filter(|point| !is_past_limits(point)).collect();
    assert_reached(&rows(&points, THIRD));
}

#[test]
fn boost_from_open_vanes_comes_as_near() {
    assert_reached(&rows(&points(), 1.0));
}

/// Where boost was held, or nothing where an engine cannot be at rest to begin with.
fn held_in_words(held: Option<&BoostAt>) -> String {
    held.map_or_else(|| "            –".to_owned(), |held| format!("{:>8.1} {:.2}", held.kpa, held.opening))
}

#[test]
#[ignore = "writes the table on record"]
fn write_the_table() {
    let from_third: Vec<_> = points().into_iter().filter(|point| !is_past_limits(point)).collect();
    let (from_third, from_open) = (rows(&from_third, THIRD), rows(&points(), 1.0));
    let mut lines = vec![
        "boost, kPa absolute, and opening; held: mean of 16 to 20 s; can be had: most of 51 openings at rest"
            .to_owned(),
        " rpm load mm2 wanted  can be had  from a third    from open".to_owned(),
    ];
    for (point, target_kpa, most, open) in &from_open {
        let third = from_third.iter().find(|(other, ..)| other == point).map(|(.., held)| held);
        let SteadyPoint { speed_rpm, load, egr_mm2 } = point;
        let most = held_in_words(Some(most));
        let (third, open) = (held_in_words(third), held_in_words(Some(open)));
        lines.push(format!("{speed_rpm:>4} {load:>4} {egr_mm2:>3} {target_kpa:>6.1} {most}{third} {open}"));
    }
    let text = lines.join("\n") + "\n";
    std::fs::write(reference_dir().join("control/recirculation.txt"), text).unwrap();
}
