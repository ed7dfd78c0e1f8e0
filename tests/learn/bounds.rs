//! The exact bounds that a campaign prints, against SciPy 1.17.1 (`tests/reference/learn/clopper_pearson.py`).

use study::campaign::learn::exact_bounds;
use vanebench_checks::{assert_near, reference_dir};

#[test]
fn exact_bounds_agree_with_scipy() {
    let path = reference_dir().join("learn/clopper_pearson.csv");
    let mut rows = csv::Reader::from_path(path).unwrap();
    let mut checked = 0;
    for row in rows.deserialize() {
        let (count, total, low, high): (u64, u64, f64, f64) = row.unwrap();
        let bounds = exact_bounds(count, total);
        assert_near(&format!("lower bound of {count} in {total}"), bounds[0], low, 1e-9);
        assert_near(&format!("upper bound of {count} in {total}"), bounds[1], high, 1e-9);
        checked += 1;
    }
    assert_eq!(checked, 10);
}

/// The handbook's rule: with none in n, the two-sided 95 % bound is 1 − 0.025^(1/n).
#[test]
fn none_in_a_thousand_bounds_the_rate_below_0_37_per_cent() {
    let high = exact_bounds(0, 1000)[1];
    assert_near("closed form for none", high, 1.0 - 0.025_f64.powf(1e-3), 1e-9);
    assert!(high < 0.0037, "{high}");
}
