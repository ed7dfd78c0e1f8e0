//! Sweep figures against a worked table that numpy and scipy evaluated
//! (`tests/reference/figures/sweep_worked.py`), with the definitions of IEC 61298-2 and ISA-51.1.

use vanebench::figures::sweep::SweepTable;
use vanebench::figures::{Measure, Sensor, line};
use vanebench_checks::{assert_near, reference_dir};

/// The worked numbers are differences of two-decimal readings near 100: floating point leaves 1e-11.
const EXACT: f64 = 1e-10;
/// The zero-based slope of the reference comes from a scalar search that stops at 1e-7.
const SEARCHED: f64 = 1e-5;

fn column(i: usize) -> Vec<f64> {
    let path = reference_dir().join("figures/sweep_worked.csv");
    let mut reader = csv::Reader::from_path(path).expect("the reference table is committed");
    let rows = reader.deserialize().map(|row| row.expect("rows of numbers"));
    rows.map(|row: Vec<f64>| row[i]).collect()
}

fn worked() -> SweepTable {
    SweepTable::try_new(column(0), (1..4).map(column).collect(), (4..7).map(column).collect())
        .expect("a whole table")
}

/// Smallest and largest error of an average curve.
fn error_extent(averages: &[f64]) -> (f64, f64) {
    let errors: Vec<f64> = averages.iter().zip(column(0)).map(|(y, x)| y - x).collect();
    (
        errors.iter().copied().fold(f64::INFINITY, f64::min),
        errors.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    )
}

#[test]
fn the_worked_sweep_gives_the_published_kinds_of_error() {
    let table = worked();
    let (low, high) = table.inaccuracy();
    assert_near("inaccuracy +", high, 0.55, EXACT);
    assert_near("inaccuracy −", low, -0.14, EXACT);
    let (up_low, up_high) = error_extent(&table.average_up());
    let (down_low, down_high) = error_extent(&table.average_down());
    assert_near("largest average error, rising", up_high, 0.29, EXACT);
    assert_near("smallest average error, rising", up_low, -0.10, EXACT);
    assert_near("largest average error, falling", down_high, 0.543_333_333_333, EXACT);
    assert_near("smallest average error, falling", down_low, -0.096_666_666_667, EXACT);
}

#[test]
fn the_worked_sweep_gives_hysteresis_and_non_repeatability() {
    let (hysteresis, at) = worked().hysteresis();
    assert_near("hysteresis", hysteresis, 0.39, EXACT);
    assert_near("its place", at, 40.0, 0.0);
    assert_near("non-repeatability", worked().non_repeatability().0, 0.09, EXACT);
}

#[test]
fn the_worked_sweep_gives_the_three_linearities_and_not_least_squares() {
    let [terminal, zero, independent] = worked().lines().unwrap();
    assert_near("terminal-based", terminal.deviation, 0.246_666_666_667, EXACT);
    assert_near("its place", terminal.at, 50.0, 0.0);
    assert_near("zero-based", zero.deviation, 0.164_444_926_548, SEARCHED);
    assert_near("zero-based slope", zero.slope, 1.005_544_434_802, SEARCHED);
    assert_near("independent", independent.deviation, 0.123_333_333_333, EXACT);
    assert_near("independent intercept", independent.intercept, 0.025, 1e-9);
    assert_near("independent slope", independent.slope, 1.0039, EXACT);
    // The least-squares line strays by 0.144318: a different figure.
    assert!(independent.deviation < 0.144_318);
}

#[test]
fn the_three_lines_are_ordered_as_their_definitions_demand() {
    let curve = worked().average_curve();
    let deviation = |line: Option<line::FittedLine>| line.unwrap().deviation;
    let independent = deviation(line::independent(&curve));
    let zero = deviation(line::zero_based(&curve));
    assert!(independent <= zero && zero <= deviation(line::terminal_based(&curve)));
}

#[test]
fn figures_carry_their_source_and_place() {
    let figures = worked().figures(Sensor::LeverGauge, "3 cycles");
    let hysteresis = figures.iter().find(|f| f.measure == Measure::Hysteresis(Sensor::LeverGauge)).unwrap();
    assert_eq!(hysteresis.text(), "0.39");
    assert_eq!(hysteresis.place, "at 40 % of travel");
    assert_eq!(hysteresis.definition().source, "IEC 61298-2, ISA-51.1");
}
