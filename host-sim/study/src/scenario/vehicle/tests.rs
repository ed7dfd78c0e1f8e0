//! Drive cycles, read and refused.

use super::*;

const ENGINE: EngineFigures = EngineFigures { cylinders: 4.0, heating_value: 42.9e6, full_load_mg: 40.0 };

#[test]
fn standing_is_idle_and_cruising_is_a_low_speed_in_high_gear() {
    let standing = Vehicle::default().demand(0.0, 0.0, 0.0, 0.0, &ENGINE);
    assert_eq!((standing.speed_rpm, standing.vanes), (800.0, VaneUse::Idle));
    let cruising = Vehicle::default().demand(0.0, 25.0, 0.0, 0.0, &ENGINE);
    assert!((1300.0..2400.0).contains(&cruising.speed_rpm) && cruising.fuel_mg < 30.0, "{cruising:?}");
}

#[test]
fn a_bad_cell_is_named_with_its_line() {
    let text = "time_s,speed_rpm,load\n0,1000,0.2\n1,1000,1.4\n";
    let message = engine_cycle(text, "c.csv", &ENGINE).unwrap_err().to_string();
    assert_eq!(message, "c.csv, line 3, column `load`: `1.4`; allowed: a fraction of full fuelling, 0 to 1");
}

#[test]
fn time_must_rise() {
    let text = "time_s,speed_rpm,load\n1,1000,0.2\n1,1000,0.4\n";
    let message = engine_cycle(text, "c.csv", &ENGINE).unwrap_err().to_string();
    assert!(message.contains("line 3, column `time_s`"), "{message}");
}
