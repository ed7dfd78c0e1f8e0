//! Figures of steps written by hand.

use super::*;

const BANDS: StepBands = StepBands { moved: 0.002, settled: 0.002 };

fn ramp(from: f64, to: f64) -> StepTrace {
    let readings = (1..=300)
        .map(|i| (f64::from(i) * 0.001, from + (to - from) * (f64::from(i) / 100.0).min(1.0)))
        .collect();
    StepTrace { at: Tick(0), command_before: from, command_after: to, start: from, readings }
}

#[test]
fn both_directions_of_a_ramp_give_the_same_times() {
    for (from, to, direction) in [(0.4, 0.5, VaneDirection::Opening), (0.5, 0.4, VaneDirection::Closing)] {
        let response = ramp(from, to).evaluate(BANDS).unwrap();
        assert_eq!(response.direction, direction);
        assert_eq!(response.size.percent(), 10);
        assert!((response.t63_s - 0.0632).abs() < 1e-9, "{response:?}");
        assert!((response.t86_s - 0.0865).abs() < 1e-9, "{response:?}");
        assert!((response.dead_time_s - 0.002).abs() < 1e-9, "{response:?}");
        assert!(response.overshoot_percent.abs() < 1e-9);
    }
}

#[test]
fn a_trace_without_an_answer_is_refused_with_its_reason() {
    let still = StepTrace { readings: ramp(0.4, 0.4).readings, ..ramp(0.4, 0.5) };
    assert!(matches!(still.evaluate(BANDS), Err(StepTraceError::NoMovement { .. })));
    let mut cut = ramp(0.4, 0.5);
    cut.readings.truncate(60);
    assert!(matches!(cut.evaluate(BANDS), Err(StepTraceError::NotSettled { .. })));
    cut.readings.truncate(5);
    assert_eq!(cut.evaluate(BANDS), Err(StepTraceError::TooShort { seen: 5 }));
    let mut broken = ramp(0.4, 0.5);
    broken.readings[7].1 = f64::NAN;
    assert_eq!(broken.evaluate(BANDS), Err(StepTraceError::Disordered { index: 7 }));
    assert!(matches!(ramp(0.4, 0.401).evaluate(BANDS), Err(StepTraceError::NoStep { .. })));
}
