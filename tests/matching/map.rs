//! The opening map: identity, there and back, monotone, limited at both stops.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use firmware_core::settings::Settings;
use parts::matching::{CarriedLimits, Met, MinimumFlow, OpeningMatch, StatedLimits, remap_settings};
use parts::{Field, PartsSheet};
use plant::nozzle::{Linkage, NozzleModel, RingDimensions, VaneRing};
use proptest::prelude::*;

fn sheet(text: &str) -> PartsSheet {
    PartsSheet::parse("demo.toml", text).unwrap()
}

fn ring_a() -> PartsSheet {
    sheet(include_str!("../../rigs/profiles/sheets/ring-a.toml"))
}

fn ring_b() -> PartsSheet {
    sheet(include_str!("../../rigs/profiles/sheets/ring-b.toml"))
}

fn ring_c() -> PartsSheet {
    sheet(include_str!("../../rigs/profiles/sheets/ring-c.toml"))
}

fn between(old: &PartsSheet, new: &PartsSheet) -> OpeningMatch {
    let least = new.get(Field::LeastAngle).map(|angle| angle.value);
    OpeningMatch::between(old.nozzle().unwrap(), new.nozzle().unwrap(), least)
}

/// Limits of the invented controller, nothing stated.
fn limits(old: &PartsSheet, new: &PartsSheet) -> CarriedLimits {
    let stated = StatedLimits { boost_kpa: None, source: None, turbine_inlet_c: 800.0 };
    CarriedLimits::between(old, new, &Settings::default().guard.limits, stated).unwrap()
}

#[test]
fn a_sheet_matched_to_itself_is_the_identity() {
    for sheet in [ring_a(), ring_b(), ring_c()] {
        let found = between(&sheet, &sheet);
        assert_eq!(found.minimum_flow, MinimumFlow::Equal);
        for knot in found.knots(1001) {
            assert!((knot.new_opening - knot.old_opening).abs() < 1e-9, "{knot:?}");
            assert_eq!(knot.met, Met::SameArea);
        }
    }
}

#[test]
fn settings_matched_to_the_same_ring_are_the_same_settings() {
    let found = between(&ring_a(), &ring_a());
    let old = Settings::default();
    let new = remap_settings(&found, &limits(&ring_a(), &ring_a()), &old).unwrap();
    let pairs = old
        .target
        .feed_forward
        .0
        .as_flattened()
        .iter()
        .zip(new.settings.target.feed_forward.0.as_flattened());
    assert!(pairs.into_iter().all(|(a, b)| (a - b).abs() < 1e-6));
    for change in new.changes {
        assert!((change.new / change.old - 1.0).abs() < 1e-5, "{change:?}");
    }
}

#[test]
fn there_and_back_is_the_identity_where_both_rings_meet_the_area() {
    let there = between(&ring_a(), &ring_b());
    let back = OpeningMatch::between(there.new, there.old, None);
    let mut met = 0;
    for knot in there.knots(501) {
        if knot.met == Met::SameArea {
            assert!((back.opening(knot.new_opening) - knot.old_opening).abs() < 1e-9, "{knot:?}");
            met += 1;
        }
    }
    assert!(met > 400, "only {met} of 501 openings are met");
}

#[test]
fn the_minimum_flow_is_matched_first_by_the_stop() {
    let found = between(&ring_a(), &ring_b());
    let MinimumFlow::MoveStop { from_deg, to_deg } = found.minimum_flow else {
        panic!("{:?}", found.minimum_flow)
    };
    assert!((from_deg - 11.5).abs() < 1e-12 && (8.8..11.5).contains(&to_deg), "{from_deg} → {to_deg}");
    let (old, new) = (found.old.effective_area_mm2(0.0), found.new.effective_area_mm2(0.0));
    assert!((new / old - 1.0).abs() < 1e-9, "{old} mm², {new} mm²");
    assert!(found.opening(0.0) == 0.0);
}

#[test]
fn a_ring_that_cannot_close_or_open_far_enough_says_where_and_by_how_much() {
    let found = between(&ring_a(), &ring_c());
    assert!(matches!(found.minimum_flow, MinimumFlow::NotMet { .. }));
    let unmet = found.unmet();
    assert_eq!(unmet.len(), 2, "{unmet:?}");
    assert!(unmet[0].met == Met::AreaTooLarge && unmet[0].from == 0.0 && unmet[0].worst_ratio > 1.0);
    assert!(unmet[1].met == Met::AreaTooSmall && unmet[1].to == 1.0 && unmet[1].worst_ratio < 1.0);
    for knot in found.knots(101) {
        let inside = knot.old_opening > unmet[0].to && knot.old_opening < unmet[1].from;
        assert_eq!(inside, knot.met == Met::SameArea, "{knot:?}");
    }
}

#[test]
fn re_mapped_gains_move_the_area_as_the_old_ones_did() {
    let found = between(&ring_a(), &ring_b());
    for opening in [0.1, 0.3, 0.5, 0.7, 0.9] {
        let step = 1e-3;
        let moved = found.new.effective_area_mm2(found.opening(opening) + step * found.slope_ratio(opening));
        let wanted = found.old.effective_area_mm2(opening + step);
        assert!((moved / wanted - 1.0).abs() < 2e-5, "at {opening}: {moved} against {wanted} mm²");
    }
}

#[test]
fn protection_is_never_made_slower_by_a_match() {
    let old = Settings::default();
    for (from, to) in [(ring_a(), ring_b()), (ring_b(), ring_a()), (ring_a(), ring_c())] {
        let new = remap_settings(&between(&from, &to), &limits(&from, &to), &old).unwrap().settings;
        assert!(new.slew.protective_per_s >= old.slew.protective_per_s);
        assert!(new.guard.stages.ease_rate_per_s >= old.guard.stages.ease_rate_per_s);
    }
}

/// Any ring that a sheet would be accepted with.
fn nozzles() -> impl Strategy<Value = NozzleModel> {
    let shape = (7_u32..16, 4.0..12.0, 0.7..1.15_f64, 0.04..0.14_f64, 24.0..60.0_f64, 0.35..0.6_f64);
    let flow = (0.7..1.0_f64, 0.0..0.2_f64, 0.3..0.9_f64, 4.0..14.0_f64, 12.0..24.0_f64);
    (shape, flow).prop_filter_map("overlapping or falling area", |(shape, flow)| {
        let (vanes, height_mm, solidity, thin, pivot_radius_mm, pivot_fraction) = shape;
        let (discharge, end_gap_mm, gap_discharge, clear_by_deg, travel_deg) = flow;
        let chord_mm = solidity * 2.0 * std::f64::consts::PI * pivot_radius_mm / f64::from(vanes);
        let dimensions = RingDimensions {
            vanes,
            height_mm,
            chord_mm,
            thickness_mm: thin * chord_mm,
            pivot_radius_mm,
            pivot_fraction,
        };
        let ring = VaneRing::try_new(dimensions).ok()?;
        let mut nozzle = NozzleModel {
            ring,
            linkage: Linkage::Proportional,
            closed_deg: 0.0,
            open_deg: 60.0,
            discharge,
            end_gap_mm,
            gap_discharge,
            lever_start: 0.0,
        };
        nozzle.closed_deg = nozzle.least_clear_deg() + clear_by_deg;
        nozzle.open_deg = nozzle.closed_deg + travel_deg;
        let sound = ring.gap_mm(nozzle.closed_deg) > 0.0 && nozzle.area_peak_deg().is_none();
        sound.then_some(nozzle)
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn the_map_never_falls_and_stays_between_the_stops(
        old in nozzles(), new in nozzles(), least in proptest::option::of(0.5..1.0_f64),
    ) {
        let found = OpeningMatch::between(old, new, least.map(|share| share * new.closed_deg));
        let mut before = 0.0;
        for knot in found.knots(65) {
            prop_assert!((0.0..=1.0).contains(&knot.new_opening), "{:?}", knot);
            prop_assert!(knot.new_opening >= before, "falls at {:?}", knot);
            before = knot.new_opening;
            if knot.met == Met::SameArea {
                prop_assert!((knot.given_mm2 / knot.wanted_mm2 - 1.0).abs() < 1e-9, "{:?}", knot);
            }
        }
    }

    #[test]
    fn any_ring_there_and_back_is_the_identity_where_both_meet(old in nozzles(), new in nozzles()) {
        let there = OpeningMatch::between(old, new, None);
        let back = OpeningMatch::between(there.new, there.old, None);
        for knot in there.knots(33).into_iter().filter(|knot| knot.met == Met::SameArea) {
            prop_assert!((back.opening(knot.new_opening) - knot.old_opening).abs() < 1e-9, "{:?}", knot);
        }
    }
}
