//! The ring against closed forms.

use super::{RingDimensions, RingError, VaneRing, nearest};

fn dimensions() -> RingDimensions {
    RingDimensions {
        vanes: 11,
        height_mm: 6.0,
        chord_mm: 14.0,
        thickness_mm: 1.2,
        pivot_radius_mm: 28.0,
        pivot_fraction: 0.45,
    }
}

#[test]
fn a_ring_needs_three_vanes() {
    let refused = VaneRing::try_new(RingDimensions { vanes: 0, ..dimensions() });
    assert_eq!(refused, Err(RingError::TooFewVanes { vanes: 0 }));
}

#[test]
fn a_plate_thicker_than_its_chord_is_refused_by_name() {
    let refused = VaneRing::try_new(RingDimensions { thickness_mm: 15.0, ..dimensions() });
    assert!(matches!(refused, Err(RingError::OutOfRange { name: "thickness", .. })));
}

#[test]
fn a_length_that_is_not_a_number_is_refused() {
    let refused = VaneRing::try_new(RingDimensions { chord_mm: f64::NAN, ..dimensions() });
    assert!(matches!(refused, Err(RingError::OutOfRange { name: "chord", .. })));
}

#[test]
fn crossing_segments_have_no_distance() {
    let found = nearest(((-1.0, 0.0), (1.0, 0.0)), ((0.0, -1.0), (0.0, 1.0)));
    assert!(found.distance == 0.0);
}

#[test]
fn vanes_flat_on_the_circle_touch_when_the_chord_exceeds_the_pitch() {
    let ring = VaneRing::try_new(RingDimensions { chord_mm: 20.0, ..dimensions() }).unwrap();
    assert!(ring.gap_mm(0.0) < 0.0);
    assert!(ring.throat_area_mm2(0.0) == 0.0);
    assert!(ring.gap_mm(30.0) > 0.0);
}
