//! What the engine sees, what matters most, and whether the learned travel fits the parts.
#![allow(clippy::unwrap_used, reason = "a check that cannot be set up must fail")]

use parts::matching::{
    Bar, ClockedPart, LearnedCounts, LeverSensor, OpeningEnd, OpeningMatch, OpeningSign, SWEPT,
    TravelFinding, check_travel, compare, sensitivity,
};
use parts::{Field, PartsSheet};
use vanebench_checks::assert_near;

const BOOST_LIMIT_KPA: f64 = 280.0;

fn ring_a() -> PartsSheet {
    PartsSheet::parse("a", include_str!("../../rigs/profiles/sheets/ring-a.toml")).unwrap()
}

fn ring_b() -> PartsSheet {
    PartsSheet::parse("b", include_str!("../../rigs/profiles/sheets/ring-b.toml")).unwrap()
}

fn ring_c() -> PartsSheet {
    PartsSheet::parse("c", include_str!("../../rigs/profiles/sheets/ring-c.toml")).unwrap()
}

fn between(old: &PartsSheet, new: &PartsSheet) -> OpeningMatch {
    let least = new.get(Field::LeastAngle).map(|angle| angle.value);
    OpeningMatch::between(old.nozzle().unwrap(), new.nozzle().unwrap(), least)
}

#[test]
fn a_turbo_matched_to_itself_changes_nothing_on_the_engine() {
    let (old, found) = (ring_a(), between(&ring_a(), &ring_a()));
    for point in compare(&old, &old, &found, BOOST_LIMIT_KPA).unwrap() {
        assert_near("boost", point.new_after.boost_kpa, point.old.boost_kpa, 1e-9);
        assert_near("exhaust", point.new_before.exhaust_peak_kpa, point.old.exhaust_peak_kpa, 1e-9);
    }
}

/// Re-mapped, the exhaust sees the area it knows: exhaust pressure comes back to within a few per cent; the rest
/// is the larger turbine wheel.
#[test]
fn re_mapping_brings_exhaust_pressure_and_boost_nearer_to_the_old_turbo() {
    let (old, new) = (ring_a(), ring_b());
    for point in compare(&old, &new, &between(&old, &new), BOOST_LIMIT_KPA).unwrap() {
        let off = |got: f64, want: f64| (got / want - 1.0).abs();
        let (before, after) = (
            off(point.new_before.exhaust_kpa, point.old.exhaust_kpa),
            off(point.new_after.exhaust_kpa, point.old.exhaust_kpa),
        );
        assert!(after < before && after < 0.05, "{}: {before:.3} → {after:.3}", point.point.name);
        assert!(
            (point.boost_margin_kpa[2] - (BOOST_LIMIT_KPA - point.new_after.boost_peak_kpa)).abs() < 1e-12
        );
    }
}

/// Equal area is not equal boost: the same nozzle with a heavier rotor spools later.
#[test]
fn more_inertia_with_the_same_area_takes_longer_to_boost() {
    let old = ring_a();
    let heavy = old.with_value(Field::RotorInertia, 1.5 * old.value(Field::RotorInertia));
    let found = between(&old, &heavy);
    for point in compare(&old, &heavy, &found, BOOST_LIMIT_KPA).unwrap().iter().take(3) {
        assert!((point.new_opening - point.point.old_opening).abs() < 1e-9);
        let same = point.same_boost.unwrap();
        assert!(same.new_after.time_s > same.old.time_s, "{}", point.point.name);
        assert_near("final boost", point.new_after.boost_kpa, point.old.boost_kpa, 0.02);
    }
}

#[test]
fn an_area_that_cannot_be_met_shows_as_less_braking() {
    let (old, new) = (ring_a(), ring_c());
    let points = compare(&old, &new, &between(&old, &new), BOOST_LIMIT_KPA).unwrap();
    let brake = points.iter().find(|point| point.point.name == "exhaust brake").unwrap();
    assert!(brake.new_after.exhaust_kpa < 0.97 * brake.old.exhaust_kpa);
}

#[test]
fn the_tornado_puts_what_nobody_measured_on_top_and_repeats_byte_for_byte() {
    let measured = include_str!("../../rigs/profiles/sheets/ring-b.toml");
    let unmeasured: Vec<&str> = measured
        .lines()
        .filter(|line| !line.starts_with("thickness") && !line.starts_with("pivot_fraction"))
        .collect();
    let (old, new) = (ring_a(), PartsSheet::parse("b", &unmeasured.join("\n")).unwrap());
    let found = between(&old, &new);
    let first = sensitivity((&old, &new), &found, (64, 7), &|_, _| {}).unwrap();
    assert_eq!(first, sensitivity((&old, &new), &found, (64, 7), &|_, _| {}).unwrap());
    assert_ne!(first.campaign, sensitivity((&old, &new), &found, (64, 8), &|_, _| {}).unwrap().campaign);
    assert!(first.bars.windows(2).all(|pair| pair[0].span_kpa() >= pair[1].span_kpa()));
    let unmeasured = |bar: &Bar| bar.estimated && bar.name.starts_with("new: ");
    assert!(first.bars.iter().take(3).filter(|bar| unmeasured(bar)).count() >= 2, "{:?}", first.bars);
    // First order against the campaign: u² = Σ (span/2)²/3. They agree as far as the curve is straight.
    let squares: f64 = first.bars.iter().map(|bar| bar.span_kpa() * bar.span_kpa() / 12.0).sum();
    assert_near("spread", first.campaign.deviation_kpa, squares.sqrt(), 0.25);
    assert!(first.nominal_kpa.1 > 100.0 && SWEPT.name == "tip-in");
}

/// 70° of lever at 152.86 counts per degree is the 10 700 counts of the invented bench actuator A.
const SENSOR: LeverSensor =
    LeverSensor { counts_per_degree: 10_700.0 / 70.0, opening_sign: OpeningSign::Lowers };

/// Learned stops, the lever's angles given in degrees from the free closed stop.
fn counts(closed_deg: f64, open_deg: f64) -> LearnedCounts {
    let at = |deg: f64| 14_000.0 - deg * SENSOR.counts_per_degree;
    LearnedCounts { closed: at(closed_deg), open: at(open_deg) }
}

fn findings(attached: LearnedCounts) -> Vec<TravelFinding> {
    check_travel(&ring_a(), SENSOR, counts(0.0, 82.0), attached).unwrap().findings
}

#[test]
fn a_travel_that_fits_the_parts_has_reserves_at_both_ends_and_no_findings() {
    let check = check_travel(&ring_a(), SENSOR, counts(0.0, 82.0), counts(6.2, 76.0)).unwrap();
    assert_eq!(check.findings, []);
    assert_near("closed reserve", check.reserves[0].found_deg, 6.2, 1e-9);
    assert_near("open reserve", check.reserves[1].found_deg, 6.0, 1e-9);
    assert_near("attached travel", check.attached_deg, 69.8, 1e-9);
}

#[test]
fn a_lever_one_hole_off_is_named_with_its_direction() {
    let found = findings(counts(16.0, 82.0));
    assert!(
        found.iter().any(|f| matches!(f, TravelFinding::NoReserve { end: OpeningEnd::Open, .. })),
        "{found:?}"
    );
    let clocked = found.iter().find_map(|f| match f {
        TravelFinding::Clocked { part: ClockedPart::Lever, holes, toward, .. } => Some((*holes, *toward)),
        _ => None,
    });
    assert_eq!(clocked, Some((1, OpeningEnd::Open)), "{found:?}");
    assert!(found.iter().any(|f| matches!(f, TravelFinding::SpanShort { .. })), "{found:?}");
}

#[test]
fn a_ring_one_hole_off_is_named() {
    // 3° of ring are 18.3° of lever here: the closed end runs into the actuator's own stop.
    let found = findings(counts(0.0, 57.7));
    assert!(
        found.iter().any(|f| matches!(
            f,
            TravelFinding::Clocked { part: ClockedPart::Ring, holes: 1, toward: OpeningEnd::Closed, .. }
        )),
        "{found:?}"
    );
}

#[test]
fn swapped_stops_are_named() {
    let found = findings(counts(76.0, 6.0));
    assert!(matches!(found.as_slice(), [TravelFinding::StopsSwapped { .. }]), "{found:?}");
}

#[test]
fn a_short_and_a_long_travel_are_told_apart() {
    assert!(matches!(findings(counts(11.0, 71.0)).as_slice(), [TravelFinding::SpanShort { .. }]));
    assert!(matches!(findings(counts(3.0, 79.0)).as_slice(), [TravelFinding::SpanLong { .. }]));
}

#[test]
fn a_sheet_without_lever_travel_is_refused_with_advice() {
    let text = include_str!("../../rigs/profiles/sheets/ring-a.toml");
    let section = text.find("[actuator]").unwrap();
    let indexing = text.find("[indexing]").unwrap();
    let bare = PartsSheet::parse("t", &text[..section.min(indexing)]).unwrap();
    let refused = check_travel(&bare, SENSOR, counts(0.0, 82.0), counts(6.0, 76.0)).unwrap_err();
    assert!(refused.to_string().contains("actuator.lever_travel"));
}
