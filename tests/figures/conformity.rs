//! Risks of a decision against `tests/reference/figures/guard_bands.py` (quadrature and bivariate normal distribution),
//! with the inputs of the resistor example of JCGM 106:2012 and two published pairs.

use vanebench::figures::conformity::{Interval, NormalSpread, largest_risk_of_accepting};
use vanebench_checks::{assert_near, reference_dir};

fn either_side(half: f64) -> Interval {
    Interval { low: -half, high: half }
}

/// Mean and standard deviation of the units, standard uncertainty, guard band, half width that is accepted, consumer's and
/// producer's risk, share accepted, share conforming.
type Row = (f64, f64, f64, String, f64, f64, f64, f64, f64);

/// A stop off by at most 2 % of travel, units and measurements of several spreads, three guard bands.
#[test]
fn risks_of_all_units_agree_with_the_bivariate_normal_distribution() {
    let path = reference_dir().join("figures/guard_bands.csv");
    let mut reader = csv::Reader::from_path(path).expect("the reference table is committed");
    let rows: Vec<Row> = reader.deserialize().map(|row| row.expect("rows of numbers")).collect();
    assert_eq!(rows.len(), 120);
    for (mean, standard_deviation, u, _, accept, consumer, producer, _, conforming) in rows {
        let units = NormalSpread { mean, standard_deviation };
        let risks = units.risks(u, either_side(2.0), either_side(accept));
        let what = format!("mean {mean}, units {standard_deviation}, u {u}, accepted {accept}");
        assert_near(&format!("{what}: consumer"), risks.consumer, consumer, 1e-7);
        assert_near(&format!("{what}: producer"), risks.producer, producer, 1e-7);
        let inside = 1.0 - units.outside(either_side(2.0));
        assert_near(&format!("{what}: conforming"), inside, conforming, 1e-9);
    }
}

/// JCGM 106:2012, 1500 Ω resistors ± 0.2 Ω, units ± 0.12, measured to 0.04: inputs as in an open program, results computed;
/// the guide prints about 1 %, 7 % and 90 % (from memory).
#[test]
fn the_guide_s_resistors_give_its_risks() {
    let units = NormalSpread { mean: 1500.0, standard_deviation: 0.12 };
    let tolerance = Interval { low: 1499.8, high: 1500.2 };
    let guarded = units.risks(0.04, tolerance, Interval { low: 1499.82, high: 1500.18 });
    assert_near("consumer", guarded.consumer, 0.009_878_291_5, 1e-7);
    assert_near("producer", guarded.producer, 0.069_026_510_5, 1e-7);
    assert_near("conforming", 1.0 - units.outside(tolerance), 0.904_419_295_5, 1e-9);
    let plain = units.risks(0.04, tolerance, tolerance);
    assert_near("consumer, no guard band", plain.consumer, 0.018_942_206_7, 1e-7);
    assert_near("producer, no guard band", plain.producer, 0.037_207_800_2, 1e-7);
}

/// Deaver's pairs as quoted in an open library's tests: 0.8 % and 1.5 %; with a guard band of 9 %, 0.8 % and 6.6 %.
#[test]
fn published_pairs_come_out() {
    let units = NormalSpread { mean: 0.0, standard_deviation: 1.0 };
    let plain = units.risks(0.25, either_side(2.0), either_side(2.0));
    assert_eq!(
        (format!("{:.3}", plain.consumer), format!("{:.3}", plain.producer)),
        ("0.008".into(), "0.015".into())
    );
    let guarded = units.risks(0.5, either_side(2.0), either_side(0.91 * 2.0));
    assert_eq!(
        (format!("{:.3}", guarded.consumer), format!("{:.3}", guarded.producer)),
        ("0.008".into(), "0.066".into())
    );
}

/// One value of 1.5 against ± 2, known to 0.3 (SciPy, in the script's output).
#[test]
fn one_value_lies_inside_by_its_own_uncertainty() {
    let value = NormalSpread { mean: 1.5, standard_deviation: 0.3 };
    assert_near("inside", 1.0 - value.outside(either_side(2.0)), 0.952_209_648, 1e-9);
}

/// Φ(−2), in every table of the normal distribution; the library's error function is good to some 1e-10.
#[test]
fn a_guard_band_of_the_expanded_uncertainty_leaves_2_275_per_cent() {
    assert_near("risk", largest_risk_of_accepting(), 0.022_750_131_948_179, 1e-9);
}
