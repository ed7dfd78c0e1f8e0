//! Tolerance factors against `tests/reference/figures/tolerance_factors.py` (SciPy's noncentral t, and quadrature) and
//! against published tables: ISO 16269-6:2014 Annex F (two-sided, rounded up) and Montgomery and Runger, Applied
//! Statistics and Probability for Engineers, 7th edition, Table XII (one-sided), both as copied in the tests of an open
//! statistics library; NIST/SEMATECH e-Handbook 7.2.6.3.

use vanebench::figures::tolerance::{IntervalDemand, Sides};
use vanebench_checks::{assert_near, reference_dir};

fn factor(n: usize, content: f64, confidence: f64, sides: Sides) -> f64 {
    IntervalDemand { content, confidence }.normal_factor(n, sides).expect("two units or more")
}

#[test]
fn every_factor_of_2_to_100_units_agrees_with_scipy() {
    let path = reference_dir().join("figures/tolerance_factors.csv");
    let mut reader = csv::Reader::from_path(path).expect("the reference table is committed");
    let rows: Vec<(usize, f64, f64, f64, f64)> =
        reader.deserialize().map(|row| row.expect("rows of numbers")).collect();
    assert_eq!(rows.len(), 891);
    for (n, content, confidence, one, two) in rows {
        let what = format!("n {n}, content {content}, confidence {confidence}");
        // Eight decimals are printed.
        assert_near(&what, factor(n, content, confidence, Sides::One), one, 1e-8);
        assert_near(&what, factor(n, content, confidence, Sides::Two), two, 1e-8);
    }
}

/// Content, confidence, then units and k.
type Published = (f64, f64, &'static [(usize, f64)]);

const ISO_16269_6_ANNEX_F: [Published; 9] = [
    (0.90, 0.90, &[(2, 15.5124), (8, 2.7542), (16, 2.2537), (35, 1.9906), (100, 1.8232)]),
    (0.95, 0.90, &[(3, 6.8233), (9, 3.1323), (15, 2.7196), (30, 2.4166), (90, 2.1862)]),
    (0.99, 0.90, &[(4, 6.3722), (8, 4.2707), (17, 3.4741), (28, 3.2023), (100, 2.8548)]),
    (0.90, 0.95, &[(2, 31.0923), (8, 3.1561), (16, 2.4486), (35, 2.0943)]),
    (0.95, 0.95, &[(5, 5.0769), (10, 3.3935), (26, 2.6188), (90, 2.2519)]),
    (0.99, 0.95, &[(3, 12.6472), (9, 4.6329), (17, 3.7606), (35, 3.2762), (100, 2.9356)]),
    (0.90, 0.99, &[(4, 9.4162), (10, 3.6167), (22, 2.5979), (80, 2.0282)]),
    (0.95, 0.99, &[(2, 182.7201), (9, 4.5810), (17, 3.3641), (40, 2.6836)]),
    (0.99, 0.99, &[(3, 28.5857), (7, 7.1908), (15, 4.6212), (28, 3.8042), (70, 3.2284)]),
];

#[test]
fn two_sided_factors_are_those_of_iso_16269_6() {
    let mut compared = 0;
    for (content, confidence, entries) in ISO_16269_6_ANNEX_F {
        for (n, printed) in entries {
            let up = (factor(*n, content, confidence, Sides::Two) * 1e4 - 1e-6).ceil() / 1e4;
            assert_near(&format!("n {n}, {content}, {confidence}"), up, *printed, 1e-9);
            compared += 1;
        }
    }
    assert_eq!(compared, 41);
}

/// Units, then k for content 90, 95, 99 % at confidence 90 %, the same at 95 % and at 99 %.
const MONTGOMERY_RUNGER_XII: [(usize, [f64; 9]); 7] = [
    (2, [10.253, 13.090, 18.500, 20.581, 26.260, 37.094, 103.029, 131.426, 185.617]),
    (3, [4.258, 5.311, 7.340, 6.155, 7.656, 10.553, 13.995, 17.370, 23.896]),
    (4, [3.188, 3.957, 5.438, 4.162, 5.144, 7.042, 7.380, 9.083, 12.387]),
    (25, [1.702, 2.132, 2.952, 1.838, 2.292, 3.158, 2.129, 2.633, 3.601]),
    (30, [1.657, 2.080, 2.884, 1.777, 2.220, 3.064, 2.030, 2.515, 3.447]),
    (50, [1.559, 1.965, 2.735, 1.646, 2.065, 2.862, 1.821, 2.269, 3.125]),
    (100, [1.470, 1.861, 2.601, 1.527, 1.927, 2.684, 1.639, 2.056, 2.850]),
];

#[test]
fn one_sided_factors_are_those_of_a_textbook() {
    const SHARES: [f64; 3] = [0.90, 0.95, 0.99];
    for (n, printed) in MONTGOMERY_RUNGER_XII {
        let pairs =
            SHARES.iter().flat_map(|confidence| SHARES.iter().map(move |content| (content, confidence)));
        for ((content, confidence), printed) in pairs.zip(printed) {
            let k = factor(n, *content, *confidence, Sides::One);
            // Half of the last digit, and a little: the table rounds some entries the other way.
            assert!((k - printed).abs() < 0.000_51, "n {n}, {content}, {confidence}: {k}, printed {printed}");
        }
    }
}

/// The handbook's worked examples: exact one-sided values as printed there, and approximations that must not come back
/// (two-sided 2.217 by Howe's formula, one-sided 1.8752 and 5.2808 by Natrella's).
#[test]
fn the_handbook_s_exact_values_come_out_and_its_approximations_do_not() {
    assert_near("one-sided, n 43", factor(43, 0.90, 0.99, Sides::One), 1.8740, 3e-5);
    assert_near("one-sided, n 6", factor(6, 0.90, 0.99, Sides::One), 4.4111, 1e-5);
    assert_near("two-sided, n 43, exact", factor(43, 0.90, 0.99, Sides::Two), 2.222_825_2, 1e-7);
    assert!((factor(43, 0.90, 0.99, Sides::Two) - 2.217).abs() > 0.005);
}

#[test]
fn fewer_than_two_units_have_no_factor() {
    let demand = IntervalDemand { content: 0.95, confidence: 0.95 };
    assert_eq!([0, 1].map(|n| demand.normal_factor(n, Sides::Two)), [None, None]);
}

/// Smallest numbers of units for an interval from smallest to largest, 1 − pⁿ ≥ γ and 1 − n pⁿ⁻¹ + (n − 1) pⁿ ≥ γ; 93 for
/// 95 % at 95 % is the number that ISO 16269-6 gives (from memory), all of them are printed by the script.
#[test]
fn any_spread_takes_93_units_for_95_at_95_per_cent() {
    for (content, at_90, at_95, at_99) in [
        (0.90, [22, 38], [29, 46], [44, 64]),
        (0.95, [45, 77], [59, 93], [90, 130]),
        (0.99, [230, 388], [299, 473], [459, 662]),
    ] {
        for (confidence, wanted) in [(0.90, at_90), (0.95, at_95), (0.99, at_99)] {
            let demand = IntervalDemand { content, confidence };
            assert_eq!([Sides::One, Sides::Two].map(|sides| demand.distribution_free_units(sides)), wanted);
        }
    }
    let held =
        |n| IntervalDemand { content: 0.95, confidence: 0.95 }.distribution_free_content(n, Sides::Two);
    for (n, content) in [(5, 0.342_592), (10, 0.605_837), (20, 0.783_894), (30, 0.851_404), (50, 0.908_602)] {
        assert_near(&format!("content of smallest to largest of {n}"), held(n), content, 1e-6);
    }
}
