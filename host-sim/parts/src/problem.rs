//! What can be wrong with a parts sheet, in words that a technician can act on.

mod finding;

use plant::nozzle::{LinkageError, RingError};
use plant::shown::number;

pub use finding::{SheetError, SheetFinding};

/// Which wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Wheel {
    /// On the air side.
    Compressor,
    /// On the exhaust side.
    Turbine,
}

impl std::fmt::Display for Wheel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Compressor => "compressor",
            Self::Turbine => "turbine",
        })
    }
}

/// What is wrong with one entry.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Problem {
    /// The file could not be read.
    #[error("{reason}")]
    Unreadable {
        /// What the system said.
        reason: String,
    },
    /// The file is no TOML, or misses a whole table.
    #[error(
        "is not a parts sheet: {reason}. Correct it; `sheet new FILE.toml` writes an empty sheet with every entry explained"
    )]
    Syntax {
        /// What the parser said, and where.
        reason: String,
    },
    /// A key that means nothing here.
    #[error("is not known here; allowed: {allowed}. Correct the spelling or remove it")]
    UnknownKey {
        /// What is.
        allowed: String,
    },
    /// A value that must be measured is not there.
    #[error("is missing and cannot be estimated; measure it and write it as {example}")]
    Missing {
        /// How it is written.
        example: String,
    },
    /// Neither a number with a unit nor anything like it.
    #[error("must be written as {example}")]
    NotAQuantity {
        /// How it is written.
        example: String,
    },
    /// No unit, or more than one.
    #[error("names {count} units; name exactly one: {allowed}")]
    UnitCount {
        /// How many were found.
        count: usize,
        /// Which fit.
        allowed: String,
    },
    /// A unit of another kind.
    #[error("is given in {given}; allowed: {allowed}")]
    WrongUnit {
        /// The unit found.
        given: String,
        /// Which fit.
        allowed: String,
    },
    /// Not finite, or a tolerance below zero.
    #[error("{what} is {}; it must be a finite number{and}. Measure it again", number(*.value))]
    NotANumber {
        /// Value or tolerance.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Further condition.
        and: &'static str,
    },
    /// A tolerance wider than everything that the value could be.
    #[error("has a tolerance of ±{} {unit}; allowed: at most {most} {unit}. Check the digits", number(*.value))]
    ToleranceTooWide {
        /// Tolerance in the base unit.
        value: f64,
        /// Base unit.
        unit: &'static str,
        /// Widest.
        most: f64,
    },
    /// Words that would fill the page.
    #[error("is {length} characters long; allowed: at most {most}. Shorten it")]
    TooLong {
        /// Characters.
        length: usize,
        /// Most.
        most: usize,
    },
    /// Nobody is named who measured it, or no tool.
    #[error("does not say {what}; add it here, or for the whole sheet under [measured]")]
    NobodyNamed {
        /// Who or with what.
        what: &'static str,
    },
    /// Far from anything plausible, and no unit mix-up explains it.
    #[error(
        "is {} {unit}; plausible is {min} to {max} {unit}. Measure it again, or check the digits",
        number(*.value)
    )]
    OutOfRange {
        /// Value in the base unit.
        value: f64,
        /// Base unit.
        unit: &'static str,
        /// Least plausible.
        min: f64,
        /// Most plausible.
        max: f64,
    },
    /// Inches written as millimetres.
    #[error(
        "is {value} mm, too small to be true; {value} in = {as_mm:.2} mm would fit. Was it measured in inches? \
         Then write {{ in = {value} }}"
    )]
    LooksLikeInches {
        /// As written.
        value: f64,
        /// Read as inches.
        as_mm: f64,
    },
    /// Millimetres written as inches.
    #[error(
        "is {value} in ({as_mm:.1} mm), too large to be true; {value} mm would fit. Was it measured in \
         millimetres? Then write {{ mm = {value} }}"
    )]
    LooksLikeMillimetres {
        /// As written, inches.
        value: f64,
        /// Read as written.
        as_mm: f64,
    },
    /// A count of zero, below zero or absurd.
    #[error("is {count}; allowed: {min} to {max}. Count again, marking the first one")]
    Count {
        /// As written.
        count: i64,
        /// Least.
        min: u32,
        /// Most.
        max: u32,
    },
    /// Inducer and exducer the wrong way round.
    #[error(
        "of the {wheel}: inducer {inducer} mm, exducer {exducer} mm look swapped; {rule}. Swap the two values"
    )]
    DiametersSwapped {
        /// Which wheel.
        wheel: Wheel,
        /// As given.
        inducer: f64,
        /// As given.
        exducer: f64,
        /// Which is larger, and why.
        rule: &'static str,
    },
    /// The open stop closes further than the closed stop.
    #[error(
        "closed {closed}°, open {open}°: the open stop must stand at the larger angle from the tangent. \
         Swap the two, or check that both were measured from the tangent and not from the radius"
    )]
    StopsSwapped {
        /// Angle at the closed stop.
        closed: f64,
        /// Angle at the open stop.
        open: f64,
    },
    /// The vanes would run into each other before the stop.
    #[error(
        "at the closed stop ({closed}°) neighbouring vanes would overlap; they clear from {least:.2}° on. \
         Check vane count, chord, thickness, pivot radius and the angle"
    )]
    VanesOverlap {
        /// Angle at the closed stop.
        closed: f64,
        /// Least angle at which they clear.
        least: f64,
    },
    /// The throat would narrow again before the open stop.
    #[error(
        "open stop at {open}°, but the throat is widest at {peak:.1}° and narrows beyond. Check open \
         angle, chord and pivot radius"
    )]
    AreaFalls {
        /// Angle at the open stop.
        open: f64,
        /// Angle of the widest throat.
        peak: f64,
    },
    /// Vanes that would touch the turbine wheel.
    #[error(
        "vane tips reach in to {tip:.2} mm radius at the open stop, the turbine wheel out to {wheel:.2} mm: \
         they would touch. Check chord, pivot place, pivot radius and wheel diameter"
    )]
    VanesReachWheel {
        /// Radius of the tips.
        tip: f64,
        /// Radius of the wheel.
        wheel: f64,
    },
    /// A volute that would lie inside the vane ring.
    #[error(
        "the middle of the volute lies at {volute:.2} mm radius, the vane pivots at {ring:.2} mm: wheel \
         and ring do not fit this housing. Measure from the wheel's axis to the middle of the volute's \
         section. Is the pivot radius in fact a diameter?"
    )]
    VoluteInsideRing {
        /// Radius of the volute's middle.
        volute: f64,
        /// Radius of the vane pivots.
        ring: f64,
    },
    /// A nozzle whose height is varied by sliding a ring.
    #[error(
        "is a sliding-nozzle ring: its area depends on a gap, not on a vane angle, and this tool does not \
         compute it. Allowed: kind = \"pivoting-vanes\""
    )]
    SlidingNozzle,
    /// A nozzle of no known kind.
    #[error("is {kind:?}; allowed: \"pivoting-vanes\"")]
    UnknownNozzle {
        /// As written.
        kind: String,
    },
    /// A wheel material without a density.
    #[error("is {material:?}; allowed: {allowed}")]
    UnknownMaterial {
        /// As written.
        material: String,
        /// Which are.
        allowed: String,
    },
    /// The ring's dimensions make no ring.
    #[error("{0}")]
    Ring(#[from] RingError),
    /// A hub as large as the wheel's exducer.
    #[error(
        "hub {hub} mm does not lie inside the exducer {exducer} mm. Measure both again at the gas outlet; the hub \
         is the smaller"
    )]
    HubTooLarge {
        /// Hub diameter.
        hub: f64,
        /// Exducer diameter.
        exducer: f64,
    },
    /// A turbine wheel whose blades leave no throat.
    #[error(
        "the blades leave no throat: {throat:.0} mm² between {blades} of them. Check hub, blade count, blade \
         thickness and exit angle (from the axis), or measure turbine.throat_area"
    )]
    NoThroat {
        /// What the dimensions come to.
        throat: f64,
        /// Blade count.
        blades: u32,
    },
    /// The linkage cannot work.
    #[error("{0}")]
    Linkage(#[from] LinkageError),
    /// Some lengths of the linkage are there and others are not.
    #[error(
        "is missing, and the other linkage values are given ({present}); measure it, or leave all of them \
         out"
    )]
    LinkageIncomplete {
        /// Which are there.
        present: String,
    },
    /// Some of a set of values are there and others are not.
    #[error("is missing, and {present} is given; measure it, or leave all of them out")]
    SetIncomplete {
        /// Which are there.
        present: String,
    },
    /// No vane angle gives what was gauged.
    #[error(
        "no vane angle of this ring leaves that throat or flow. Check unit and digits, then vane count, height, chord, \
         thickness and pivot circle"
    )]
    StopNotReached,
    /// A part of the indexing chain needs a value that is not on the sheet.
    #[error("acts on the {on}, which needs {needs}; measure that, or state the tolerance in vane degrees")]
    IndexingNeeds {
        /// What it acts on.
        on: &'static str,
        /// What is missing.
        needs: String,
    },
}
