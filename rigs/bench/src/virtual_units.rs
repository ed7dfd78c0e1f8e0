//! The units that the built-in rig can stand in for, one for each preset of the fault catalogue.

use schemars::JsonSchema;
use serde::Serialize;
use study::catalogue;

/// One virtual unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct VirtualUnit {
    /// Name after `virtual:`.
    pub name: &'static str,
    /// What it is.
    pub what: &'static str,
}

/// All of them, in the catalogue's order.
#[must_use]
pub fn all() -> Vec<VirtualUnit> {
    catalogue::all().map(|preset| VirtualUnit { name: preset.name, what: preset.about }).collect()
}
