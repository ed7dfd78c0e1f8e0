//! Nozzle geometry against outside numbers.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use csv::ReaderBuilder;
use plant::nozzle::{FourBar, RingDimensions, VaneRing};
use vanebench_checks::{assert_near, reference_dir};

fn ring(vanes: u32, height: f64, chord: f64, thickness: f64, radius: f64, fraction: f64) -> VaneRing {
    VaneRing::try_new(RingDimensions {
        vanes,
        height_mm: height,
        chord_mm: chord,
        thickness_mm: thickness,
        pivot_radius_mm: radius,
        pivot_fraction: fraction,
    })
    .unwrap()
}

/// Rings of a reference file: what they are and at which angle, the ring, the angle in degrees, the number that the
/// script found there.
fn referenced(file: &str, rows: usize) -> Vec<(String, VaneRing, f64, f64)> {
    let read: Vec<_> = ReaderBuilder::new()
        .from_path(reference_dir().join("match").join(file))
        .unwrap()
        .records()
        .map(|row| {
            let row = row.unwrap();
            let number = |at: usize| row[at].parse::<f64>().unwrap();
            let vanes = row[1].parse().unwrap();
            let ring = ring(vanes, number(2), number(3), number(4), number(5), number(6));
            (format!("{} at {}°", &row[0], &row[7]), ring, number(7), number(8))
        })
        .collect();
    assert_eq!(read.len(), rows, "{file} was cut");
    read
}

/// Source: `tests/reference/match/thin_vanes.py` (numpy 2.4.6), trailing edge to neighbour's chord line.
#[test]
fn straight_thin_vanes_leave_the_worked_throats() {
    let ring = ring(11, 6.0, 14.0, 0.0, 28.0, 0.45);
    for (angle, throat, area) in [
        (10.0, 3.150_988, 207.965),
        (20.0, 5.191_388, 342.632),
        (30.0, 7.255_434, 478.859),
        (40.0, 8.972_540, 592.188),
    ] {
        assert_near("throat", ring.throat_mm(angle), throat, 1e-6);
        assert_near("area", ring.throat_area_mm2(angle), area, 2e-6);
    }
}

/// Source: `tests/reference/match/throat_bruteforce.py` (numpy 2.4.6): every point of one outline against
/// every point of its neighbours', rounded ends included, from touching vanes to vanes set radially.
#[test]
fn the_throat_is_the_brute_force_nearest_distance_at_every_angle() {
    for (what, ring, angle, brute) in referenced("throat_bruteforce.csv", 124) {
        let throat = ring.throat_mm(angle);
        assert!((throat - brute).abs() < 2e-6, "{what}: {throat} mm, brute force {brute} mm");
    }
}

/// Source: `tests/reference/match/gas_moment.py` (numpy 2.4.6): pressure on every piece of a vane's outline
/// upstream of its two throats, found by brute force, times its arm about the pivot.
#[test]
fn the_gas_turns_the_vanes_as_the_pressure_along_their_outlines_adds_up_to() {
    for (what, ring, angle, moment) in referenced("gas_moment.csv", 33) {
        assert_near(&what, ring.gas_moment_mm3(angle), moment, 1e-5);
    }
}

/// By hand: thin vanes nearly along the circle and shorter than the pitch meet end to end, so that the pressure
/// lies on the whole chord: 11 × 6 mm × 14 mm × (0.5 − 0.45) × 14 mm = 646.8 mm³. A pivot at mid-chord is in
/// balance, one behind it is turned toward closed.
#[test]
fn short_thin_vanes_carry_the_pressure_on_their_whole_chord() {
    let moment = |fraction: f64| ring(11, 6.0, 14.0, 0.0, 28.0, fraction).gas_moment_mm3(10.0);
    assert_near("pivot at 0.45", moment(0.45), 646.8, 1e-9);
    assert_near("pivot at 0.50", moment(0.50), 0.0, 1e-9);
    assert_near("pivot at 0.55", moment(0.55), -646.8, 1e-9);
}

/// The sine rule 2πr sin α/n is near at small pitch only; the source's worked values show −12 to +15 %.
#[test]
fn the_sine_rule_alone_would_be_off_by_more_than_ten_percent() {
    let ring = ring(11, 6.0, 14.0, 0.0, 28.0, 0.45);
    let sine_rule = |angle: f64| 2.0 * std::f64::consts::PI * 28.0 / 11.0 * angle.to_radians().sin();
    assert_near("sine rule at 10°", sine_rule(10.0) / ring.throat_mm(10.0), 0.88, 0.01);
    assert_near("sine rule at 40°", sine_rule(40.0) / ring.throat_mm(40.0), 1.15, 0.01);
}

/// Source: Norton, "Design of Machinery", position analysis of a four-bar linkage with links 40, 120, 80
/// and ground 100, crank at 40°: rocker at 57.325° in the open assembly (from memory).
#[test]
fn the_four_bar_linkage_gives_the_textbook_rocker_angle() {
    let linkage = FourBar { crank_mm: 40.0, rod_mm: 120.0, rocker_mm: 80.0, base_mm: 100.0 };
    let rocker = linkage.rocker_angle(40_f64.to_radians()).unwrap().to_degrees();
    assert_near("rocker", rocker, 57.325, 1e-5);
}
