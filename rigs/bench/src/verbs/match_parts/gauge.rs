//! The gauge job in words: what to set at the closed stop, and how to measure what was only estimated.

use parts::matching::{GaugeJob, GaugeTarget, Study};

use crate::number::with_uncertainty;

fn target(target: &GaugeTarget) -> String {
    with_uncertainty(target.value, target.standard_uncertainty)
}

/// Targets at the closed stop, head first.
pub(super) fn rows(job: &GaugeJob) -> Vec<Vec<String>> {
    let (pin, no_pin) = job.pins_mm;
    let bench = &job.bench;
    let (room_c, room_kpa) = bench.room;
    let mut rows = vec![
        ["at the new ring's closed stop (± standard uncertainty)".to_owned(), "set".to_owned()],
        ["vane angle from the tangent, °".into(), target(&job.angle_deg)],
        [format!("mean width of the {} throats, mm", job.throats), target(&job.throat_mm)],
        ["pin for every throat / for none, mm".into(), format!("{pin:.2} goes in / {no_pin:.2} does not")],
    ];
    rows.extend(job.screw_turns.map(|turns| {
        let way = if turns < 0.0 { "toward closed" } else { "toward open" };
        ["stop screw from where it was found".into(), format!("{:.2} turns {way}", turns.abs())]
    }));
    rows.push([
        format!(
            "air at {:.1} kPa drop, {room_c:.0} °C, {room_kpa:.1} kPa absolute, no wheel, g/s",
            bench.drop_kpa
        ),
        target(&bench.flow_g_s),
    ]);
    rows.push([
        "the same with the turbine wheel fitted, held still, g/s".into(),
        format!("{:.2}", bench.with_wheel_g_s),
    ]);
    rows.into_iter().map(|row| row.to_vec()).collect()
}

/// How to measure the rotor's inertia, where it was estimated on either side.
pub(super) fn pendulum(study: &Study) -> Option<String> {
    let is_estimated = |side: &parts::matching::Side| {
        side.values.iter().any(|value| value.field == "rotor.inertia" && value.quantity.is_estimated())
    };
    (is_estimated(&study.old) || is_estimated(&study.new)).then(|| {
        "Rotor inertia was estimated. To measure it, hang the rotor, axis upright, on two or three parallel \
         lines of equal length, as far from the axis on all sides; turn it by about 5° and let go without a \
         push; time 50 full swings, four times. I = m g R r T² / (4 π² h), h² = L² − (R − r)². Enter under [rotor] \
         mass, pendulum_radius (R), pendulum_length (L), pendulum_period (T) and pendulum_amplitude, each with \
         its tolerance; on a platform also platform_mass and platform_period. 2 ms in half a second make 0.8 % of \
         inertia; a platform needs ten times better timing."
            .to_owned()
    })
}
