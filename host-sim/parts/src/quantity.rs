//! A value of a parts sheet with its tolerance and where it came from, and the units it may be written in.

use crate::uncertainty::rectangular;

/// What kind of unit a value takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Length; base unit mm.
    Length,
    /// Area; base unit mm².
    Area,
    /// Plane angle; base unit degree.
    Angle,
    /// A pure number.
    Ratio,
    /// Moment of inertia; base unit kg m².
    Inertia,
    /// Speed of rotation; base unit rpm.
    Speed,
    /// Mass; base unit kg.
    Mass,
    /// Time; base unit s.
    Time,
    /// Mass flow; base unit g/s.
    MassFlow,
    /// Pressure or pressure drop; base unit kPa.
    Pressure,
    /// Temperature; base unit °C.
    Temperature,
    /// Unbalance; base unit g·mm.
    Unbalance,
}

/// A unit as written in a sheet, with its size in the dimension's base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Key in the sheet: `{ mm = 9.4 }`.
    pub key: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// One of it in the base unit.
    pub in_base: f64,
}

/// One inch in mm, exact since 1959.
pub(crate) const INCH_MM: f64 = 25.4;

/// Every unit a sheet may use.
pub const UNITS: &[Unit] = &[
    Unit { key: "mm", dimension: Dimension::Length, in_base: 1.0 },
    Unit { key: "in", dimension: Dimension::Length, in_base: INCH_MM },
    Unit { key: "mm2", dimension: Dimension::Area, in_base: 1.0 },
    Unit { key: "cm2", dimension: Dimension::Area, in_base: 100.0 },
    Unit { key: "in2", dimension: Dimension::Area, in_base: INCH_MM * INCH_MM },
    Unit { key: "deg", dimension: Dimension::Angle, in_base: 1.0 },
    Unit { key: "ratio", dimension: Dimension::Ratio, in_base: 1.0 },
    Unit { key: "rpm", dimension: Dimension::Speed, in_base: 1.0 },
    Unit { key: "kg", dimension: Dimension::Mass, in_base: 1.0 },
    Unit { key: "g", dimension: Dimension::Mass, in_base: 1e-3 },
    Unit { key: "s", dimension: Dimension::Time, in_base: 1.0 },
    Unit { key: "g_s", dimension: Dimension::MassFlow, in_base: 1.0 },
    Unit { key: "kg_h", dimension: Dimension::MassFlow, in_base: 1.0 / 3.6 },
    Unit { key: "kPa", dimension: Dimension::Pressure, in_base: 1.0 },
    Unit { key: "mbar", dimension: Dimension::Pressure, in_base: 0.1 },
    // Conventional centimetre and inch of water, ISO 80000-4 (from memory).
    Unit { key: "cmH2O", dimension: Dimension::Pressure, in_base: 0.098_066_5 },
    Unit { key: "inH2O", dimension: Dimension::Pressure, in_base: 0.249_088_91 },
    Unit { key: "C", dimension: Dimension::Temperature, in_base: 1.0 },
    Unit { key: "g_mm", dimension: Dimension::Unbalance, in_base: 1.0 },
    Unit { key: "kg_m2", dimension: Dimension::Inertia, in_base: 1.0 },
];

impl Dimension {
    /// The units that fit, for messages: `mm or in`.
    #[must_use]
    pub fn units(self) -> String {
        let keys: Vec<&str> = UNITS.iter().filter(|u| u.dimension == self).map(|u| u.key).collect();
        keys.join(" or ")
    }

    /// Symbol of the base unit, for tables.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Length => "mm",
            Self::Area => "mm²",
            Self::Angle => "°",
            Self::Ratio => "1",
            Self::Inertia => "kg m²",
            Self::Speed => "rpm",
            Self::Mass => "kg",
            Self::Time => "s",
            Self::MassFlow => "g/s",
            Self::Pressure => "kPa",
            Self::Temperature => "°C",
            Self::Unbalance => "g·mm",
        }
    }
}

/// Where a value came from.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ValueOrigin {
    /// Someone measured it.
    Measured {
        /// Who.
        by: String,
        /// With which tool.
        with: String,
    },
    /// Nobody measured it: a stated rule.
    Estimated {
        /// The rule in words.
        rule: String,
    },
}

/// Where a tolerance came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ToleranceOrigin {
    /// Written on the sheet.
    Stated,
    /// By rule: ±0.5 % of the value.
    Estimated,
}

/// What a measured value without a tolerance is taken to be good for, as a share of the value.
pub(crate) const TOLERANCE_SHARE: f64 = 0.005;

/// A value with its tolerance and origin, in the base unit of its dimension.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub struct Quantity {
    /// Best estimate.
    pub value: f64,
    /// Half-width: the truth lies within value ± tolerance.
    pub tolerance: f64,
    /// Where the tolerance came from.
    pub tolerance_origin: ToleranceOrigin,
    /// Where the value came from.
    pub origin: ValueOrigin,
    /// The single readings whose mean the value is; empty where there was one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<f64>,
}

impl Quantity {
    /// Standard uncertainty, the tolerance read as a rectangular distribution (GUM 4.3.7).
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        rectangular(self.tolerance)
    }

    /// Was the value estimated rather than measured?
    #[must_use]
    pub fn is_estimated(&self) -> bool {
        matches!(self.origin, ValueOrigin::Estimated { .. })
    }
}
