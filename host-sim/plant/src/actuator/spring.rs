//! The return spring as it stands in a file: a table, or the word `none`.

use serde::{Deserialize, Serialize};

use crate::check::{BadParameter, not_negative};

/// Return spring toward angle 0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SpringParams {
    /// Torque at angle 0, N m.
    pub preload_nm: f64,
    /// Rate, N m/rad.
    pub rate_nm_per_rad: f64,
}

impl SpringParams {
    pub(super) fn validate(&self) -> Result<(), BadParameter> {
        not_negative("preload_nm", self.preload_nm)?;
        not_negative("rate_nm_per_rad", self.rate_nm_per_rad)
    }

    /// Torque toward angle 0 at an angle, N m.
    pub(super) fn torque(&self, angle_rad: f64) -> f64 {
        self.preload_nm + self.rate_nm_per_rad * angle_rad
    }
}

impl Default for SpringParams {
    fn default() -> Self {
        Self { preload_nm: 0.30, rate_nm_per_rad: 0.20 }
    }
}

/// TOML has no word for nothing, and a field left out takes bench actuator A's.
pub(super) mod in_file {
    use std::fmt;

    use serde::de::value::MapAccessDeserializer;
    use serde::de::{Error, MapAccess, Unexpected, Visitor};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use super::SpringParams;

    const NONE: &str = "none";

    pub(in crate::actuator) fn serialize<S: Serializer>(
        spring: &Option<SpringParams>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match spring {
            Some(spring) => spring.serialize(to),
            None => to.serialize_str(NONE),
        }
    }

    pub(in crate::actuator) fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<SpringParams>, D::Error> {
        from.deserialize_any(Spring)
    }

    struct Spring;

    impl<'de> Visitor<'de> for Spring {
        type Value = Option<SpringParams>;

        fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
            write!(f, "a table of `preload_nm` and `rate_nm_per_rad`, or {NONE:?}")
        }

        fn visit_str<E: Error>(self, word: &str) -> Result<Self::Value, E> {
            if word == NONE { Ok(None) } else { Err(E::invalid_value(Unexpected::Str(word), &self)) }
        }

        fn visit_map<A: MapAccess<'de>>(self, table: A) -> Result<Self::Value, A::Error> {
            SpringParams::deserialize(MapAccessDeserializer::new(table)).map(Some)
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::world::WorldConfig;

    #[test]
    fn no_spring_can_be_said_and_survives_a_file() {
        let config = WorldConfig::from_toml("[actuator]\nspring = \"none\"\n", "unit.toml").unwrap();
        assert_eq!(config.actuator.spring, None);
        let again = toml::to_string(&config).unwrap();
        assert_eq!(WorldConfig::from_toml(&again, "again.toml").unwrap(), config);
        let refusal =
            WorldConfig::from_toml("[actuator]\nspring = \"weak\"\n", "unit.toml").unwrap_err().to_string();
        assert!(refusal.contains("line 2") && refusal.contains("or \"none\""), "{refusal}");
    }
}
