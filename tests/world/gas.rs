//! Outside checks of gas flow and the standard atmosphere.
//!
//! Sources: NACA Report 1135 (1953), its relations; ISO 2533:1975 (values by the Python packages ambiance
//! 1.3.1 and fluids 1.3.1, script `tests/reference/world/c3_gas.py`); closed forms for choking.

use plant::atmosphere::Ambient;
use plant::gas::Gas;
use vanebench_checks::assert_near;

const LEAN_EXHAUST: Gas = Gas { gamma: 1.33, r: 286.0 };

#[test]
fn critical_ratios_and_choked_flow_match_the_closed_forms() {
    assert_near("p*/p0, γ 1.4", Gas::AIR.critical_ratio(), 0.528_281_788, 1e-8);
    assert_near("p*/p0, γ 1.33", LEAN_EXHAUST.critical_ratio(), 0.540_364_018, 1e-8);
    assert_near("choked, γ 1.4", Gas::AIR.flow_function(0.3), 0.684_731_456, 1e-8);
    assert_near("choked, γ 1.33", LEAN_EXHAUST.flow_function(0.3), 0.672_628_408, 1e-8);
    let per_root_r = Gas::AIR.flow_function(0.1) / Gas::AIR.r.sqrt();
    assert_near("W√T0/(A p0), air", per_root_r, 0.040_414_698, 1e-7);
}

#[test]
fn flow_below_choking_matches_the_isentropic_relation() {
    let table = [
        (0.95, 0.307_196_161),
        (0.9, 0.421_325_414),
        (0.8, 0.557_133_016),
        (0.7, 0.631_896_481),
        (0.6, 0.667_162_764),
    ];
    for (ratio, flow) in table {
        assert_near("W√(RT0)/(Ap0)", LEAN_EXHAUST.flow_function(ratio), flow, 1e-8);
    }
    assert_eq!(LEAN_EXHAUST.flow_function(1.2), 0.0, "no flow backwards");
}

#[test]
fn a_worked_nozzle_flows_as_computed_by_hand() {
    let flow = |down_pa| LEAN_EXHAUST.nozzle_flow(1e-4, 250e3, 900.0, down_pa);
    assert_near("to ambient, choked, kg/s", flow(101_325.0), 0.033_144_460, 2e-8);
    assert_near("to 180 kPa, kg/s", flow(180e3), 0.030_574_738, 2e-8);
}

#[test]
fn the_standard_atmosphere_has_its_table_values() {
    let table = [
        (0.0, 101_325.000, 288.150_0),
        (1000.0, 89_876.278, 281.651_0),
        (2000.0, 79_501.411, 275.154_1),
        (3000.0, 70_121.144, 268.659_2),
    ];
    for (altitude_m, pressure_pa, temperature_k) in table {
        let air = Ambient::at_altitude(altitude_m).unwrap();
        assert_near("pressure, Pa", air.pressure_pa, pressure_pa, 1e-6);
        assert_near("temperature, K", air.temperature_k, temperature_k, 1e-6);
    }
}

#[test]
fn an_altitude_outside_the_standard_is_refused_by_name() {
    let message = Ambient::at_altitude(20_000.0).unwrap_err().to_string();
    assert_eq!(message, "`altitude_m` is 20000; allowed: -2000 to 11000");
}
