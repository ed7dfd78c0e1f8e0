//! A measured nozzle in front of the turbine: area, efficiency's opening and gas torque against opening.
//!
//! In: the ring as measured, the engine's own nozzle law. Out: a table worked out once, read in every tick.
//! Refuses, by field, a ring that is none and one whose area does not rise from stop to stop.
//!
//! The flow law of the air path, √(1 − Π^K), is that of the whole turbine and was fitted with an area of its
//! own: through the same area it passes 1.36 times what an isentropic throat passes at the critical ratio. A
//! measured area counts there times [`EngineParams::ring_flow_factor`]: with 1 the invented ring A is about the
//! nozzle of the invented engine A; with 0.67 a choked turbine passes what NACA 1135 gives for the throats. Too
//! large a factor shows too little boost, so only that engine goes without one.
//!
//! Turbine efficiency is known only against the opening of the engine's own nozzle. A measured ring counts
//! there as the opening at which that nozzle has the same area: an estimate. With equal vane height and radius,
//! equal area is equal angle of the gas at the wheel; `match` compares at equal vane angle for that reason.
//!
//! [`EngineParams::ring_flow_factor`]: super::EngineParams::ring_flow_factor

use std::sync::Arc;

use super::reduced_params::ReducedParams;
use super::state::Vanes;
use crate::check::BadParameter;
use crate::lanes::held;
use crate::nozzle::{RingParams, TurbineWheel};

/// Stretches of the table. Straight over 1/256 of the travel, it misses the area by less than 3e-5 of the open
/// area (a test holds it there); measured dimensions leave some per cent.
const STRETCHES: usize = 256;
const M2_PER_MM2: f64 = 1e-6;
const M3_PER_MM3: f64 = 1e-9;

/// One opening of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
struct RingKnot {
    area_m2: f64,
    /// Opening of the engine's own nozzle at that area.
    own_opening: f64,
    /// Work of the gas on the ring per unit of opening and Pa over the vanes, J/Pa.
    gas_work_m3: f64,
}

/// A measured ring, ready to be read. Clones share the table.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredRing {
    knots: Arc<[RingKnot]>,
}

impl MeasuredRing {
    /// Works the table out: `ring` in front of the turbine of an engine with the air path `own`, in whose flow law
    /// an area counts `flow_factor` times and which was made with the wheel `of_law`.
    ///
    /// # Errors
    /// Names the field that makes the ring impossible or its area fall.
    pub fn try_new(
        ring: &RingParams,
        flow_factor: f64,
        of_law: Option<&TurbineWheel>,
        own: &ReducedParams,
    ) -> Result<Self, BadParameter> {
        let nozzle = ring.nozzle()?;
        let angles_deg: Vec<f64> = (0..=STRETCHES).map(|place| nozzle.angle_deg(opening(place))).collect();
        let knot = |(place, &angle_deg): (usize, &f64)| {
            let inlet_m2 = flow_factor * ring.inlet_area_mm2(&nozzle, angle_deg) * M2_PER_MM2;
            let area_m2 = flow_factor * ring.turbine_area_mm2(&nozzle, angle_deg, of_law) * M2_PER_MM2;
            let moment_m3 = nozzle.ring.gas_moment_mm3(angle_deg) * M3_PER_MM3;
            RingKnot {
                area_m2,
                own_opening: own.opening_of_area(inlet_m2),
                gas_work_m3: moment_m3 * turn_rad(&angles_deg, place),
            }
        };
        let knots: Arc<[RingKnot]> = angles_deg.iter().enumerate().map(knot).collect();
        let rises = |at: &usize| knots[*at].area_m2 > knots[*at - 1].area_m2;
        match (1..=STRETCHES).find(|at| !rises(at)) {
            None => Ok(Self { knots }),
            Some(at) => {
                let peak_deg = angles_deg[at - 1];
                let allowed = format!(
                    "up to {peak_deg:.2}: beyond that, the throats narrow again as the vanes open; measure \
                     angle, chord and pivot circle again"
                );
                Err(BadParameter::new("open_angle_deg", ring.open_angle_deg, allowed))
            }
        }
    }

    /// Area at an opening (held to 0 … 1), with the opening that efficiency goes by.
    #[inline]
    #[must_use]
    pub fn vanes(&self, opening: f64) -> Vanes {
        let (low, high, share) = self.stretch(opening);
        Vanes {
            opening: low.own_opening + (high.own_opening - low.own_opening) * share,
            area_m2: low.area_m2 + (high.area_m2 - low.area_m2) * share,
        }
    }

    /// Torque of the gas toward open, N m for every Pa over the vanes, on a lever that travels `travel_rad`
    /// between the stops. By virtual work: what the gas does on the vanes it does on the lever.
    #[inline]
    #[must_use]
    pub fn gas_nm_per_pa(&self, opening: f64, travel_rad: f64) -> f64 {
        let (low, high, share) = self.stretch(opening);
        (low.gas_work_m3 + (high.gas_work_m3 - low.gas_work_m3) * share) / travel_rad
    }

    #[inline]
    fn stretch(&self, opening: f64) -> (RingKnot, RingKnot, f64) {
        let place = held(opening, 0.0, 1.0) * STRETCHES as f64;
        let at = (place as usize).min(STRETCHES - 1);
        (self.knots[at], self.knots[at + 1], place - at as f64)
    }
}

fn opening(place: usize) -> f64 {
    place as f64 / STRETCHES as f64
}

/// How far the vanes turn per unit of opening, rad.
fn turn_rad(angles_deg: &[f64], place: usize) -> f64 {
    let (below, above) = (place.saturating_sub(1), (place + 1).min(STRETCHES));
    (angles_deg[above] - angles_deg[below]).to_radians() / (opening(above) - opening(below))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::nozzle::RingLinkage;

    /// Of the open area.
    const TABLE_ERROR: f64 = 3e-5;

    fn ring() -> RingParams {
        RingParams::invented()
    }

    fn table(ring: &RingParams) -> Result<MeasuredRing, BadParameter> {
        MeasuredRing::try_new(ring, 1.0, None, &ReducedParams::default())
    }

    /// Area in the first place, straight from the geometry, m².
    fn direct_m2(ring: &RingParams, opening: f64) -> f64 {
        let nozzle = ring.nozzle().unwrap();
        ring.inlet_area_mm2(&nozzle, nozzle.angle_deg(opening)) * M2_PER_MM2
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn the_table_rises_and_keeps_to_the_geometry_within_3e_5_of_the_open_area(
            vanes in 7_u32..20,
            pivot_radius_mm in 20.0..60.0_f64,
            overlap in 0.7..1.3_f64,
            slenderness in 0.05..0.12_f64,
            pivot_fraction in 0.3..0.6_f64,
            closed_angle_deg in 5.0..20.0_f64,
            travel_deg in 10.0..40.0_f64,
        ) {
            let chord_mm = overlap * core::f64::consts::TAU * pivot_radius_mm / f64::from(vanes);
            let ring = RingParams {
                vanes,
                chord_mm,
                thickness_mm: slenderness * chord_mm,
                pivot_radius_mm,
                pivot_fraction,
                closed_angle_deg,
                open_angle_deg: closed_angle_deg + travel_deg,
                volute_area_mm2: None,
                ..ring()
            };
            // Some of them are no nozzle; each refusal has a test of its own.
            let Ok(table) = table(&ring) else { return Ok(()) };
            let (mut before, open_m2) = (0.0, direct_m2(&ring, 1.0));
            for place in 0..=3000 {
                let opening = f64::from(place) / 3000.0;
                let area_m2 = table.vanes(opening).area_m2;
                prop_assert!(area_m2 > before, "falls at {opening}: {ring:?}");
                let off = (area_m2 - direct_m2(&ring, opening)).abs() / open_m2;
                prop_assert!(off < TABLE_ERROR, "off by {off:.1e} at {opening}: {ring:?}");
                before = area_m2;
            }
        }
    }

    #[test]
    fn beyond_the_stops_the_area_stays_and_what_is_no_number_reads_as_closed() {
        let table = table(&ring()).unwrap();
        assert_eq!(table.vanes(-0.1), table.vanes(0.0));
        assert_eq!(table.vanes(1.1), table.vanes(1.0));
        assert_eq!(table.vanes(f64::NAN), table.vanes(0.0));
    }

    #[test]
    fn efficiency_goes_by_the_opening_at_which_the_engines_own_nozzle_has_the_area() {
        let (own, table) = (ReducedParams::default(), table(&ring()).unwrap());
        for opening in [0.05, 0.3, 0.77] {
            let Vanes { opening: own_opening, area_m2 } = table.vanes(opening);
            let by_law = own.nozzle_min_m2
                + (own.nozzle_max_m2 - own.nozzle_min_m2) * own_opening.powf(own.nozzle_exponent);
            assert!((by_law / area_m2 - 1.0).abs() < 1e-4, "{by_law} against {area_m2}");
        }
        let twice = MeasuredRing::try_new(&ring(), 2.0, None, &own).unwrap();
        assert_eq!(twice.vanes(1.0).opening, 1.0);
        assert!((twice.vanes(1.0).area_m2 / table.vanes(1.0).area_m2 - 2.0).abs() < 1e-12);
    }

    /// By virtual work over a small opening: what the gas does on the vanes it does on the lever.
    #[test]
    fn half_the_lever_travel_doubles_the_torque_at_the_lever() {
        let table = table(&ring()).unwrap();
        let torque = |travel_rad| table.gas_nm_per_pa(0.4, travel_rad);
        assert!((torque(0.6) / torque(1.2) - 2.0).abs() < 1e-12);
        let moment_m3 = ring().nozzle().unwrap().ring.gas_moment_mm3(10.6 + 0.4 * 25.4) * M3_PER_MM3;
        let by_hand = moment_m3 * 25.4_f64.to_radians() / 1.2;
        assert!((torque(1.2) / by_hand - 1.0).abs() < 1e-4, "{} against {by_hand}", torque(1.2));
    }

    fn refusal(ring: RingParams) -> String {
        table(&ring).unwrap_err().to_string()
    }

    #[test]
    fn vanes_that_touch_at_the_closed_stop_are_refused_with_the_angle_that_clears_them() {
        let said = refusal(RingParams { closed_angle_deg: 1.0, ..ring() });
        assert!(said.starts_with("`closed_angle_deg` is 1; allowed: above 5.32: at smaller"), "{said}");
        let at = |closed_angle_deg| table(&RingParams { closed_angle_deg, ..ring() });
        assert!(at(5.31).is_err() && at(5.33).is_ok());
    }

    #[test]
    fn an_area_that_falls_before_the_open_stop_is_refused_with_the_angle_of_its_peak() {
        let said = refusal(RingParams { open_angle_deg: 88.0, ..ring() });
        assert!(said.starts_with("`open_angle_deg` is 88; allowed: up to "), "{said}");
    }

    #[test]
    fn what_makes_no_ring_is_refused_by_its_field() {
        let sound = ring();
        for (ring, said) in [
            (RingParams { vanes: 2, ..sound }, "`vanes` is 2; allowed: 3 to 60; count"),
            (RingParams { vanes: 600, ..sound }, "`vanes` is 600; allowed: 3 to 60"),
            (RingParams { chord_mm: -17.5, ..sound }, "`chord_mm` is -17.5; allowed: above 0 mm"),
            (RingParams { height_mm: f64::NAN, ..sound }, "`height_mm` is NaN; allowed: above 0 mm"),
            (RingParams { thickness_mm: 18.0, ..sound }, "`thickness_mm` is 18; allowed: 0 mm … chord"),
            (RingParams { pivot_fraction: 1.5, ..sound }, "`pivot_fraction` is 1.5; allowed: 0 … 1"),
            (RingParams { open_angle_deg: 9.0, ..sound }, "`open_angle_deg` is 9; allowed: above closed"),
            (RingParams { closed_angle_deg: -1.0, ..sound }, "`closed_angle_deg` is -1; allowed: 0 to 90"),
            (RingParams { end_gap_mm: -0.1, ..sound }, "`end_gap_mm` is -0.1; allowed: a finite number, 0"),
            (RingParams { discharge: 0.0, ..sound }, "`discharge` is 0; allowed: 0.3 to 1.1"),
            (RingParams { volute_area_mm2: Some(0.0), ..sound }, "`volute_area_mm2` is 0; allowed: a finite"),
        ] {
            let refused = refusal(ring);
            assert!(refused.starts_with(said), "{refused}");
        }
    }

    #[test]
    fn a_linkage_that_cannot_carry_the_ring_is_refused_by_its_field() {
        let sound = RingLinkage {
            lever_length_mm: 14.0,
            rod_length_mm: 111.0,
            ring_lever_mm: 80.0,
            pivot_distance_mm: 90.0,
            lever_closed_angle_deg: 55.0,
            lever_travel_deg: 70.0,
            pin_radius_mm: 53.0,
        };
        let with = |linkage| RingParams { linkage: Some(linkage), ..ring() };
        assert!(table(&with(sound)).is_ok());
        for (linkage, said) in [
            (
                RingLinkage { rod_length_mm: 10.0, ..sound },
                "`linkage.rod_length_mm` is 10; allowed: a rod that",
            ),
            (
                RingLinkage { lever_travel_deg: 300.0, ..sound },
                "`linkage.lever_travel_deg` is 300; allowed: a tr",
            ),
            (RingLinkage { ring_lever_mm: 0.0, ..sound }, "`linkage.ring_lever_mm` is 0; allowed: a finite"),
        ] {
            let refused = refusal(with(linkage));
            assert!(refused.starts_with(said), "{refused}");
        }
    }
}
