//! Figures of the parts sheet against handbook values and worked examples.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use parts::figures::indexing_stack;
use parts::flow::{SAE_J1826, choked_flow_kg_s};
use parts::uncertainty::{Correlation, Input, propagate, propagate_correlated, rectangular};
use parts::wheels::{WheelShape, estimated_inertia_kg_m2, trim};
use parts::{ActsOn, IndexLink, Indexing, Material, PartsSheet};
use plant::gas::Gas;
use vanebench_checks::assert_near;

fn sheet() -> PartsSheet {
    PartsSheet::parse("ring-a.toml", include_str!("../../rigs/profiles/sheets/ring-a.toml")).unwrap()
}

/// Definition: common practice, no source. Values by hand: (61.1/84)², (61.3/82)², (62.5/70.11)²,
/// (63.9/70.0)², (38/50)².
#[test]
fn trims_are_the_hand_calculated_ones() {
    for (smaller, larger, by_hand) in [
        (61.1, 84.0, 52.908_305),
        (61.3, 82.0, 55.884_741),
        (62.5, 70.11, 79.469_430),
        (63.9, 70.0, 83.330_816),
        (38.0, 50.0, 57.76),
    ] {
        assert_near("trim", trim(smaller, larger), by_hand, 1e-8);
    }
}

/// Common practice, no source: a ring of 13 vanes 9.4 mm high against one of 11 vanes 11.0 mm. At the
/// same throat width the areas go as 13 × 9.4 = 122.2 to 11 × 11.0 = 121.0: one per cent apart. Fewer
/// vanes stand further apart, so at the same angle the second ring leaves more.
#[test]
fn thirteen_short_vanes_and_eleven_tall_ones_differ_by_their_pitch_not_by_their_height() {
    use plant::nozzle::{RingDimensions, VaneRing};
    let ring = |vanes, height_mm| {
        VaneRing::try_new(RingDimensions {
            vanes,
            height_mm,
            chord_mm: 18.0,
            thickness_mm: 1.5,
            pivot_radius_mm: 44.0,
            pivot_fraction: 0.45,
        })
        .unwrap()
    };
    let (thirteen, eleven) = (ring(13, 9.4), ring(11, 11.0));
    let per_width = |ring: &VaneRing| ring.throat_area_mm2(20.0) / ring.throat_mm(20.0);
    assert_near("13 × 9.4", per_width(&thirteen), 122.2, 1e-12);
    assert_near("11 × 11.0", per_width(&eleven), 121.0, 1e-12);
    for angle in [8.0, 12.0, 20.0, 30.0] {
        assert!(eleven.throat_area_mm2(angle) > 1.1 * thirteen.throat_area_mm2(angle));
    }
}

/// Source: dimensional analysis of similar bodies (any dynamics textbook): J ∝ ρ d⁵.
#[test]
fn inertia_of_similar_wheels_goes_with_the_fifth_power_of_diameter() {
    let wheel = |scale: f64| WheelShape {
        diameter_mm: 50.0 * scale,
        tip_height_mm: 3.6 * scale,
        blades: 12,
        material: Material::Aluminium,
    };
    let one = wheel(1.0).inertia_kg_m2();
    for (scale, ratio) in [(1.10, 1.61051), (1.25, 3.051_757_812_5), (0.8, 0.32768)] {
        assert_near("J ratio", wheel(scale).inertia_kg_m2() / one, ratio, 1e-12);
    }
}

/// Source: solid disc J = π ρ b d⁴/32 (handbook); 2.48505e-5 kg m² for aluminium, b = 0.3 d, d = 50 mm.
/// The disc that stands for a wheel's hub is a third as wide, so its share is a third of that.
#[test]
fn the_hub_disc_of_a_wheel_is_the_handbook_disc() {
    let bladeless =
        WheelShape { diameter_mm: 50.0, tip_height_mm: 0.0, blades: 12, material: Material::Aluminium };
    assert_near("disc", 3.0 * bladeless.inertia_kg_m2(), 2.48505e-5, 1e-5);
}

/// The invented bench engine A's rotor: 50 mm aluminium, 46 mm nickel, 2.8e-5 kg m².
#[test]
fn the_inertia_estimate_is_near_the_rotor_it_was_set_by() {
    let got = estimated_inertia_kg_m2(&sheet());
    assert_near("rotor", got, 2.8e-5, 0.10);
}

/// Source: JCGM 100:2008, H.1 (end gauge): l = 50.000838 mm, u = 32 nm, ν_eff = 16, t99(16) = 2.92,
/// U99 = 2.92 × 32 nm = 93 nm (from the rounded u); first-order components 25, 9.7 (5.8, 3.9, 6.7), 2.9 and 16.6 nm.
#[test]
fn gum_end_gauge_example_is_reproduced() {
    let arcsine = |half_width: f64| half_width / 2.0_f64.sqrt();
    let inputs = [
        Input::new("l_s", 50_000_623.0, 25.0).with_degrees_of_freedom(18.0),
        Input::new("d", 215.0, 5.8).with_degrees_of_freedom(24.0),
        Input::new("comparator, random", 0.0, 3.9).with_degrees_of_freedom(5.0),
        Input::new("comparator, systematic", 0.0, 6.7).with_degrees_of_freedom(8.0),
        Input::new("α_s", 11.5e-6, rectangular(2.0e-6)),
        Input::new("δα", 0.0, rectangular(1.0e-6)).with_degrees_of_freedom(50.0),
        Input::new("θ mean", -0.1, 0.2),
        Input::new("Δ", 0.0, arcsine(0.5)),
        Input::new("δθ", 0.0, rectangular(0.05)).with_degrees_of_freedom(2.0),
    ];
    let length = propagate(&inputs, |x| {
        let (l_s, d, theta) = (x[0], x[1] + x[2] + x[3], x[6] + x[7]);
        l_s + d - l_s * (x[5] * theta + x[4] * x[8])
    });
    assert_near("l", length.value, 50_000_838.0, 1e-12);
    assert_near("u(l)", length.standard_uncertainty.round(), 32.0, 1e-12);
    assert_near("ν_eff", length.degrees_of_freedom.unwrap().floor(), 16.0, 1e-12);
    assert_near("t99", length.expanded(0.99).unwrap() / length.standard_uncertainty, 2.92, 1e-3);
    for (at, component) in [(0, 25.0), (5, 2.9), (8, 16.6)] {
        assert_near(&inputs[at].name, length.contributions[at].component.abs(), component, 5e-3);
    }
}

/// Source: JCGM 100:2008, H.2 (resistance and reactance, correlated inputs), table H.4:
/// R = 127.732 Ω, u 0.071; X = 219.847 Ω, u 0.295; Z = 254.260 Ω, u 0.236.
/// The last digit of u(R) hangs on rounding of the inputs (0.070 from the printed ones).
#[test]
fn gum_impedance_example_is_reproduced() {
    let inputs = [
        Input::new("V", 4.9990, 3.2e-3),
        Input::new("I", 19.6610e-3, 9.5e-6),
        Input::new("φ", 1.04446, 7.5e-4),
    ];
    let correlation = |a, b, coefficient| Correlation { between: (a, b), coefficient };
    let correlations = [correlation(0, 1, -0.36), correlation(0, 2, 0.86), correlation(1, 2, -0.65)];
    type Formula = fn(&[f64]) -> f64;
    let checks: [(&str, Formula, f64, f64); 3] = [
        ("R", |x| x[0] / x[1] * x[2].cos(), 127.732, 0.071),
        ("X", |x| x[0] / x[1] * x[2].sin(), 219.847, 0.295),
        ("Z", |x| x[0] / x[1], 254.260, 0.236),
    ];
    for (name, formula, value, uncertainty) in checks {
        let got = propagate_correlated(&inputs, &correlations, formula);
        assert_near(name, got.value, value, 1e-5);
        assert_near(&format!("u({name})"), got.standard_uncertainty, uncertainty, 0.02);
        assert!(got.expanded(0.95).is_none(), "Welch–Satterthwaite does not hold for correlated inputs");
    }
}

/// Source: definition W √(T/Tref)/(p/pref); numbers from `tests/reference/match/thin_vanes.py` and by
/// hand: 0.05 kg/s at 315 K, 97 kPa. Reference conditions from memory.
#[test]
fn corrected_flow_is_the_worked_one() {
    assert_near("flow", SAE_J1826.corrected_flow(0.05, 315.0, 97_000.0), 0.052_996_283_5, 1e-8);
}

/// Source: the largest flow of air through a duct at standard sea level, 49.4 lb/s for each square foot
/// (handbook value in gas-turbine texts, from memory), which is the choked corrected flow.
#[test]
fn choked_air_at_sea_level_is_the_handbook_49_4_pounds_per_second_and_square_foot() {
    let kg_s_m2 = Gas::AIR.nozzle_flow(1.0, 101_325.0, 288.15, 0.0);
    const POUND_KG: f64 = 0.453_592_37;
    const SQUARE_FOOT_M2: f64 = 0.092_903_04;
    assert_near("lb/s ft²", kg_s_m2 / POUND_KG * SQUARE_FOOT_M2, 49.4, 1e-3);
}

/// Source: `tests/reference/match/thin_vanes.py`: 181.0257 mm² chokes 0.06 kg/s at 900 K, 250 kPa, γ 1.33.
#[test]
fn the_throat_that_chokes_a_flow_is_the_worked_one() {
    assert_near("flow", choked_flow_kg_s(181.0257, 900.0, 250_000.0), 0.06, 1e-6);
}

/// By hand: 0.2° on the vane; 0.1° on a lever that turns the vanes 25.4° in 70°.
#[test]
fn the_indexing_chain_adds_up_straight_and_in_quadrature() {
    let link = |tolerance_deg, acts_on| IndexLink { name: "test".into(), tolerance_deg, acts_on };
    let chain = vec![link(0.2, ActsOn::Vane), link(0.1, ActsOn::Lever)];
    let mut sheet = sheet();
    sheet.indexing = Indexing { datum: "dowel".into(), chain };
    let stack = indexing_stack(&sheet);
    let lever = 0.1 * 25.4 / 70.0;
    assert_near("worst case", stack.worst_case_deg, 0.2 + lever, 1e-12);
    assert_near("root sum square", stack.root_sum_square_deg, (0.04 + lever * lever).sqrt(), 1e-12);
}

#[test]
fn every_figure_has_a_value_an_uncertainty_and_a_source() {
    for figure in parts::figures::figures(&sheet()) {
        assert!(figure.value.is_finite() && figure.value > 0.0, "{figure:?}");
        assert!(figure.standard_uncertainty.is_finite() && figure.standard_uncertainty > 0.0, "{figure:?}");
        assert!(!figure.formula.is_empty() && !figure.source.is_empty());
    }
}
