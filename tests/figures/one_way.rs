//! One-way analysis of variance against certified values: NIST Statistical Reference Datasets, SiRstv (silicon
//! resistivity, five instruments, <https://www.itl.nist.gov/div898/strd/anova/SiRstv.html>), as copied in the tests of two
//! open libraries.

use vanebench::figures::one_way::OneWay;
use vanebench_checks::assert_near;

const SILICON: [[f64; 5]; 5] = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
];

#[test]
fn the_certified_table_of_silicon_resistivity_comes_out() {
    let found =
        OneWay::of(&SILICON.map(|values| values.to_vec())).expect("five instruments, five values each");
    assert_eq!((found.df_between, found.df_within), (4, 20));
    assert_near("mean square between", found.ms_between, 1.278_656_54e-2, 1e-9);
    assert_near("mean square within", found.ms_within, 1.083_182_8e-2, 1e-9);
    assert_near("F", found.f(), 1.180_462_374_402_55, 1e-9);
    assert_near("residual standard deviation", found.within, 1.040_760_683_346_56e-1, 1e-9);
    // Definition: (mean square between − mean square within) / 5 values each.
    assert_near("between", found.between, ((1.278_656_54e-2 - 1.083_182_8e-2) / 5.0_f64).sqrt(), 1e-7);
}

/// Worked by hand: 1, 3 | 5 | 6, 8, 10. Means 2, 5, 8, all 5.5: between 24.5 + 0.25 + 18.75, within 2 + 8; of unequal
/// numbers (6 − 14/6) / 2 = 11/6 count for each.
#[test]
fn units_of_unequal_number_count_by_it() {
    let found = OneWay::of(&[vec![1.0, 3.0], vec![5.0], vec![6.0, 8.0, 10.0]]).expect("three units");
    assert_eq!((found.df_between, found.df_within), (2, 3));
    assert_near("mean square between", found.ms_between, 43.5 / 2.0, 1e-12);
    assert_near("mean square within", found.ms_within, 10.0 / 3.0, 1e-12);
    assert_near("between", found.between, ((21.75 - 10.0 / 3.0) / (11.0 / 6.0_f64)).sqrt(), 1e-12);
}

#[test]
fn nothing_is_said_without_a_second_unit_or_a_second_value() {
    assert_eq!(OneWay::of(&[vec![1.0, 2.0]]), None);
    assert_eq!(OneWay::of(&[vec![1.0], vec![2.0], vec![]]), None);
    let alike = OneWay::of(&[vec![1.0, 3.0], vec![1.0, 3.0]]).expect("two units");
    assert_eq!(alike.between, 0.0);
}
