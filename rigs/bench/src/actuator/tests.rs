//! The built-in actuators hold together.

use super::*;
use firmware_core::settings::Settings;

/// Every field of `wanted`, with its path, that `given` does not have.
fn left_out(wanted: &toml::Value, given: Option<&toml::Value>, path: &str) -> Vec<String> {
    let Some(fields) = wanted.as_table() else {
        return given.is_none().then(|| path.to_owned()).into_iter().collect();
    };
    let inside = |(name, inner): (&String, &toml::Value)| {
        left_out(inner, given.and_then(|given| given.get(name)), &format!("{path}.{name}"))
    };
    fields.iter().flat_map(inside).collect()
}

#[test]
fn every_folder_reads_whole_agrees_on_its_name_and_says_that_it_is_invented() {
    for actuator in ALL {
        let (profile, limits) = (actuator.profile().unwrap(), actuator.limits().unwrap());
        assert_eq!((&*profile.name, &*limits.name), (actuator.name, actuator.name));
        assert!(profile.origin.contains("Invented") && limits.origin.contains("Invented"));
        assert!(actuator.plant_text.contains("Invented"));
        assert!(limits.limits.len() > 10);
        let plant = toml::Value::try_from(actuator.plant().unwrap()).unwrap();
        let given: toml::Value = toml::from_str(actuator.plant_text).unwrap();
        for section in ["opening", "actuator"] {
            assert_eq!(left_out(&plant[section], given.get(section), section), Vec::<String>::new());
        }
        let position = given.get("sensors").and_then(|sensors| sensors.get("position"));
        assert_eq!(left_out(&plant["sensors"]["position"], position, "position"), Vec::<String>::new());
    }
}

/// What the bench is to believe of a unit is what the simulator makes: travel, direction, spring, supply.
#[test]
fn profile_and_plant_of_every_folder_describe_one_actuator() {
    for actuator in ALL {
        let (profile, plant) = (actuator.profile().unwrap(), actuator.plant().unwrap());
        let (told, travel) = (&profile.settings.actuator, plant.travel().unwrap());
        let apart = (travel.open_rad - travel.closed_rad) * plant.sensors.position.counts_per_rad;
        let expected = f64::from(told.nominal_span_counts) * f64::from(told.counts_direction.sign());
        assert!((apart / expected - 1.0).abs() < 1e-3, "{}: {apart} {expected}", actuator.name);
        let degrees = (travel.open_rad - travel.closed_rad).abs().to_degrees();
        assert!((degrees - profile.travel_deg).abs() < 1e-6, "{}: {degrees}", actuator.name);
        let spring = match (plant.actuator.spring, plant.opening.sign() > 0.0) {
            (None, _) => SpringAction::None,
            (Some(_), true) => SpringAction::Closes,
            (Some(_), false) => SpringAction::Opens,
        };
        assert_eq!(told.spring, spring, "{}", actuator.name);
        assert_eq!(f64::from(told.nominal_supply.0), plant.actuator.bridge.supply_v);
        assert!((f64::from(told.winding_resistance_ohm) - plant.actuator.motor.resistance_ohm).abs() < 1e-6);
    }
}

#[test]
fn the_demos_folder_is_what_core_and_plant_default_to() {
    assert_eq!(DEMO.profile().unwrap().settings, Settings::default());
    assert_eq!(DEMO.plant().unwrap(), WorldConfig::default());
}

#[test]
fn no_case_is_called_as_an_actuator() {
    assert!(catalogue::all().all(|preset| named(preset.name).is_none()));
}

#[test]
fn a_renamed_invention_is_an_invention_and_a_profile_of_ones_own_is_not() {
    for actuator in ALL {
        let invented = |text: &str| {
            is_invented(&Profile::read(&TomlFile::from_text("unit.toml", text)).unwrap()).unwrap()
        };
        let renamed = actuator.profile_text.replacen(actuator.name, "mine", 1);
        assert!(invented(&renamed));
        let origin = renamed.replace("Invented", "Measured").replace("invented", "measured");
        assert!(invented(&origin));
        let measured = origin.replacen("max_duty = 1.0", "max_duty = 0.9", 1);
        assert!(measured != origin && !invented(&measured));
    }
}

#[test]
fn a_case_alone_is_bench_actuator_as_and_any_other_needs_its_name() {
    let read = |text: &str| text.parse::<VirtualUnit>().unwrap();
    assert_eq!(read("healthy"), read("bench-actuator-a/healthy"));
    assert_eq!(read("healthy").to_string(), "healthy");
    let b = read("bench-actuator-b/rod-off");
    assert_eq!((b.actuator.name, &*b.case), ("bench-actuator-b", "rod-off"));
    assert_eq!(
        (b.to_string(), b.actuator.own(&b.case)),
        ("bench-actuator-b/rod-off".into(), "bench-actuator-b-rod-off".into())
    );
    for (text, said) in [
        ("bench-actuator-z/healthy", "allowed: bench-actuator-a, bench-actuator-b"),
        ("/healthy", "allowed: bench-actuator-a, bench-actuator-b"),
        ("bench-actuator-b", "names no case; try `bench-actuator-b/healthy`"),
        ("bench-actuator-b/", "names no case; try `bench-actuator-b/healthy`"),
        ("", "names no case; try `healthy`"),
    ] {
        let refusal = text.parse::<VirtualUnit>().unwrap_err().to_string();
        assert!(refusal.contains(said), "{text}: {refusal}");
    }
}
