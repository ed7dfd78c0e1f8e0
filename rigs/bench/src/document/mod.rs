//! What the tool says to machines: one document for each verb, with its kind and version.
//!
//! In: results that a verb borrows out. Out: JSON text, and for every kind its JSON Schema, derived from the types that
//! are written. Nothing is computed here. A field that is added leaves a version as it is; one that goes or changes its
//! meaning raises it.

mod bench;
mod campaign;
mod compare;
mod limits;
mod parts;
mod profile;
mod simulation;
mod tuning;
mod unit;

use clap::ValueEnum;
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde::Serialize;
use serde_json::{Value, json};

pub use crate::document_kind::Kind;
pub(crate) use crate::document_kind::{Document, ErrorDocument, text};
pub(crate) use bench::{
    Choice, DemoDocument, Diagnostic, LearnDocument, MonitorDocument, MotionDocument, PortsDocument,
    RestReadings, RigDocument,
};
pub(crate) use campaign::{
    AblatedRow, CampaignDocument, CampaignPartDocument, GaugeDocument, GuardDocument, GuardRow, MetricRow,
    Spreads, Studied,
};
pub(crate) use compare::{CompareDocument, ComparedFigure, ComparedSide, Weighed};
pub(crate) use limits::LimitsDocument;
pub(crate) use parts::{ComparisonDocument, FlowFactorFrom, GasTorqueFrom, MatchDocument, PartsOfRun};
pub(crate) use profile::{CharacterisedDocument, DerivedSetting, ProfileDocument, TorqueReserve, WindowRow};
pub(crate) use simulation::{
    ForesightTold, ScenarioRow, ScenariosDocument, SimulatedEvent, SimulatedRun, SimulationDocument,
};
pub(crate) use tuning::{BoostTuningDocument, OldAndNew, StepFigures, TuneDocument, TunedSetting};
pub(crate) use unit::{
    AttachedDocument, CheckDocument, FoundRow, HistoryDocument, HistoryRow, RoundFigure, RoundRow,
    SheetDocument, UnitRow, UnitsDocument, VerdictDocument,
};

use crate::procedure::Replayed;
use crate::record::Confirmation;

impl Document for Replayed {
    const KIND: Kind = Kind::Replay;
}

impl Document for Confirmation {
    const KIND: Kind = Kind::Confirmation;
}

/// A text for the shell or the manual.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ShellTextDocument<'a> {
    /// The text.
    pub text: &'a str,
}

impl Document for ShellTextDocument<'_> {
    const KIND: Kind = Kind::ShellText;
}

/// Schemas of one kind or of all.
#[derive(Serialize, JsonSchema)]
pub(crate) struct SchemasDocument {
    /// In the order of the kinds.
    pub schemas: Vec<Described>,
}

/// One kind with its schema.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Described {
    /// The kind.
    pub kind: Kind,
    /// What it is about.
    pub about: String,
    /// Its JSON Schema, draft 2020-12.
    pub schema: Value,
}

impl Document for SchemasDocument {
    const KIND: Kind = Kind::Schemas;
}

impl SchemasDocument {
    /// Of one kind, or of all.
    #[must_use]
    pub(crate) fn of(kind: Option<Kind>) -> Self {
        let kinds = Kind::value_variants().iter().filter(|one| kind.is_none_or(|kind| kind == **one));
        let described = |kind: &Kind| Described { kind: *kind, about: kind.about(), schema: schema(*kind) };
        Self { schemas: kinds.map(described).collect() }
    }
}

/// The JSON Schema of a kind.
#[must_use]
pub fn schema(kind: Kind) -> Value {
    match kind {
        Kind::Ports => schema_of::<PortsDocument>(),
        Kind::Monitor => schema_of::<MonitorDocument>(),
        Kind::Rig => schema_of::<RigDocument>(),
        Kind::Learn => schema_of::<LearnDocument>(),
        Kind::Replay => schema_of::<Replayed>(),
        Kind::Motion => schema_of::<MotionDocument>(),
        Kind::Demo => schema_of::<DemoDocument<'_>>(),
        Kind::Verdict => schema_of::<VerdictDocument<'_>>(),
        Kind::Units => schema_of::<UnitsDocument>(),
        Kind::History => schema_of::<HistoryDocument>(),
        Kind::Attached => schema_of::<AttachedDocument<'_>>(),
        Kind::SideBySide => schema_of::<CompareDocument>(),
        Kind::Check => schema_of::<CheckDocument>(),
        Kind::Confirmation => schema_of::<Confirmation>(),
        Kind::Sheet => schema_of::<SheetDocument>(),
        Kind::Comparison => schema_of::<ComparisonDocument>(),
        Kind::Profile => schema_of::<ProfileDocument>(),
        Kind::Limits => schema_of::<LimitsDocument>(),
        Kind::Characterised => schema_of::<CharacterisedDocument>(),
        Kind::Tuning => schema_of::<TuneDocument>(),
        Kind::BoostTuning => schema_of::<BoostTuningDocument>(),
        Kind::Match => schema_of::<MatchDocument>(),
        Kind::Scenarios => schema_of::<ScenariosDocument>(),
        Kind::Simulation => schema_of::<SimulationDocument<'_>>(),
        Kind::Campaign => schema_of::<CampaignDocument>(),
        Kind::LearnCampaign => schema_of::<study::campaign::learn::LearnCampaign>(),
        Kind::GuardCampaign => schema_of::<GuardDocument>(),
        Kind::GaugeStudy => schema_of::<GaugeDocument>(),
        Kind::CampaignPart => schema_of::<CampaignPartDocument>(),
        Kind::ShellText => schema_of::<ShellTextDocument<'_>>(),
        Kind::Schemas => schema_of::<SchemasDocument>(),
        Kind::Error => schema_of::<ErrorDocument<'_>>(),
    }
}

/// The schema of a document's body, with its head put in front.
fn schema_of<D: Document>() -> Value {
    let generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let mut schema = generator.into_root_schema_for::<D>().to_value();
    let head = [
        ("kind", json!({ "const": D::KIND.word() })),
        ("version", json!({ "const": D::KIND.version() })),
        ("about", json!({ "type": "string" })),
    ];
    for (name, of) in head {
        if let Some(required) = schema.get_mut("required").and_then(Value::as_array_mut) {
            required.push(name.into());
        } else {
            schema["required"] = json!([name]);
        }
        schema["properties"][name] = of;
    }
    schema["title"] = D::KIND.word().into();
    schema
}
