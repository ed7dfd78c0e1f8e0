//! What a teardown finds beyond dimensions: how the ring is held, wear vane by vane, photographs by file name, and the
//! balance grade where it means something.
//!
//! In: the words of a sheet's `[teardown]`. Out: the same, checked for length and for vanes that the ring has.

use core::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::problem::Problem;
use crate::{Field, PartsSheet};
use plant::shown::MOST_SHOWN;

/// What holds the ring's rotation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RingHeldBy {
    /// A pin.
    Pin,
    /// A clamp.
    Clamp,
    /// A dowel.
    Dowel,
}

/// How the rotor behaves at its balancing speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RotorBehaviour {
    /// As one stiff body: a balance grade has a meaning.
    Rigid,
    /// It bends: no grade.
    Flexible,
}

/// One finding on one vane.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VaneWear {
    /// Vane, from 1, counted in the direction of opening from the datum.
    pub vane: u32,
    /// What was found: crack, worn pin, eroded edge.
    pub what: String,
}

/// The record.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, schemars::JsonSchema, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Teardown {
    /// What holds the ring's rotation.
    pub ring_held_by: Option<RingHeldBy>,
    /// To which part.
    pub ring_held_to: String,
    /// How the rotor behaves at its balancing speed.
    pub rotor_behaviour: Option<RotorBehaviour>,
    /// Wear and cracks, vane by vane.
    pub wear: Vec<VaneWear>,
    /// Photographs, by file name.
    pub photos: Vec<String>,
}

impl Teardown {
    /// Everything that no ring of so many vanes can have, or that would fill the page.
    pub(crate) fn problems(&self, vanes: u32) -> Vec<(&'static str, Problem)> {
        let long = |field, text: &String| {
            let length = text.chars().count();
            (length > MOST_SHOWN).then_some((field, Problem::TooLong { length, most: MOST_SHOWN }))
        };
        let mut found: Vec<_> = long("teardown.ring_held_to", &self.ring_held_to).into_iter().collect();
        found.extend(self.photos.iter().filter_map(|photo| long("teardown.photos", photo)));
        for wear in &self.wear {
            found.extend(long("teardown.wear", &wear.what));
            if !(1..=vanes).contains(&wear.vane) {
                let count = i64::from(wear.vane);
                found.push(("teardown.wear", Problem::Count { count, min: 1, max: vanes }));
            }
        }
        found
    }

    /// How the ring is held, in words.
    pub(crate) fn ring_held(&self) -> String {
        let by = match self.ring_held_by {
            None => return "not noted".into(),
            Some(RingHeldBy::Pin) => "by a pin",
            Some(RingHeldBy::Clamp) => "by a clamp",
            Some(RingHeldBy::Dowel) => "by a dowel",
        };
        format!(
            "{by} to {}",
            if self.ring_held_to.is_empty() { "a part not noted" } else { &self.ring_held_to }
        )
    }

    /// All wear, in words.
    pub(crate) fn wear_words(&self) -> String {
        let each: Vec<String> =
            self.wear.iter().map(|wear| format!("vane {} {}", wear.vane, wear.what)).collect();
        if each.is_empty() { "none noted".into() } else { each.join(", ") }
    }
}

/// Balance grade G, mm/s: both planes' residual unbalance over the rotor's mass, times its speed (ISO 21940-11, whose
/// text was not read: from secondary sources). None without all entries, or where the rotor does not behave rigidly.
#[must_use]
pub fn balance_grade_mm_s(sheet: &PartsSheet) -> Option<f64> {
    const G_PER_KG: f64 = 1e3;
    match sheet.teardown.rotor_behaviour {
        None | Some(RotorBehaviour::Flexible) => return None,
        Some(RotorBehaviour::Rigid) => {}
    }
    let value = |field| sheet.get(field).map(|quantity| quantity.value);
    let unbalance = value(Field::CompressorUnbalance)? + value(Field::TurbineUnbalance)?;
    let speed = value(Field::BalanceSpeed)? * PI / 30.0;
    Some(unbalance / (value(Field::RotorMass)? * G_PER_KG) * speed)
}
