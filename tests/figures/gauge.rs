//! Gauge studies against outside evaluations (`tests/reference/figures/step_gauge_worked.py`):
//! averages and ranges with the constants of the Automotive Industry Action Group (recomputed there from
//! the moments of the normal range), analysis of variance by statsmodels.
//! All readings are invented.

use vanebench::figures::anova::Interaction;
use vanebench::figures::gauge::{GaugeGrade, GaugeTable};
use vanebench_checks::assert_near;

fn readings() -> Vec<Vec<Vec<f64>>> {
    let operator = |rows: [[f64; 3]; 5]| rows.map(|r| r.to_vec()).to_vec();
    vec![
        operator([[2.1, 2.2, 2.1], [3.0, 3.1, 3.0], [2.5, 2.4, 2.5], [3.4, 3.5, 3.4], [2.8, 2.8, 2.9]]),
        operator([[2.2, 2.1, 2.2], [3.1, 3.1, 3.2], [2.5, 2.6, 2.5], [3.5, 3.4, 3.5], [2.9, 2.8, 2.9]]),
    ]
}

#[test]
fn averages_and_ranges_give_the_worked_study() {
    let study = GaugeTable::try_new(readings()).unwrap().by_ranges().unwrap();
    assert_near("equipment variation", study.repeatability, 0.059_08, 1e-9);
    assert_near("appraiser variation", study.reproducibility, 0.034_489_1, 1e-5);
    assert_near("gauge R&R", study.gauge, 0.068_410_1, 1e-5);
    assert_near("total variation", study.total, 0.528_347_6, 1e-6);
    assert_near("per cent of total", study.percent_of_total(), 12.9479, 1e-5);
    assert_eq!(study.distinct_categories(), Some(10));
    assert_eq!(study.grade(), GaugeGrade::Marginal);
}

#[test]
fn analysis_of_variance_agrees_with_statsmodels_and_pools_a_chance_interaction() {
    let anova = GaugeTable::try_new(readings()).unwrap().by_anova();
    assert_near("mean square, parts", anova.ms_part, 1.526_333_333_33, 1e-10);
    assert_near("mean square, operators", anova.ms_operator, 0.021_333_333_333_3, 1e-9);
    assert_near("mean square, interaction", anova.ms_interaction, 0.001_333_333_333_33, 1e-9);
    assert_near("mean square, within", anova.ms_within, 0.003_333_333_333_33, 1e-9);
    assert_near("F", anova.f_interaction, 0.4, 1e-8);
    assert_near("p", anova.p_interaction, 0.806_299_775_555, 1e-8);
    assert_eq!(anova.interaction, Interaction::Pooled);
    assert_near("repeatability", anova.study.repeatability, 0.054_772_255_750_5, 1e-9);
    assert_near("reproducibility", anova.study.reproducibility, 0.034_960_294_939, 1e-9);
    assert_near("part", anova.study.part, 0.503_873_881_928, 1e-9);
}

#[test]
fn analysis_of_variance_keeps_an_interaction_that_ranges_cannot_see() {
    let mut readings = readings();
    readings[1][3].iter_mut().for_each(|v| *v += 0.3);
    readings[1][0].iter_mut().for_each(|v| *v -= 0.2);
    let anova = GaugeTable::try_new(readings).unwrap().by_anova();
    assert_near("F", anova.f_interaction, 14.35, 1e-8);
    assert_near("p", anova.p_interaction, 1.116_855_901_45e-5, 1e-6);
    assert_eq!(anova.interaction, Interaction::Kept);
    assert_near("repeatability", anova.study.repeatability, 0.057_735_026_919, 1e-9);
    assert_near("reproducibility", anova.study.reproducibility, 0.121_792_172_71, 1e-9);
    assert_near("part", anova.study.part, 0.579_223_618_303, 1e-9);
}
