//! Documents of campaigns.

use schemars::JsonSchema;
use serde::Serialize;
use study::campaign::learn::LearnCampaign;
use study::campaign::{FailedRun, MetricSummary, guard};

use super::parts::PartsOfRun;
use crate::document_kind::{Document, Kind};

/// A scenario over units that differ.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct CampaignDocument {
    /// The scenario.
    pub scenario: String,
    /// The measured turbo, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<PartsOfRun>,
    /// Seed.
    pub seed: u64,
    /// Runs made.
    pub runs: u64,
    /// Runs that could not be finished.
    pub failures: u64,
    /// The first of them, with why.
    pub failed: Vec<FailedRun>,
    /// How each metric spreads.
    pub metrics: Vec<MetricRow>,
}

/// How a metric spreads over the runs.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct MetricRow {
    /// Its name.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Runs that have it.
    pub runs: u64,
    /// Mean.
    pub mean: f64,
    /// Least.
    pub least: f64,
    /// 5 % lie below.
    pub q05: f64,
    /// Median.
    pub q50: f64,
    /// 95 % lie below.
    pub q95: f64,
    /// 99 % lie below.
    pub q99: f64,
    /// Most.
    pub most: f64,
    /// The worst runs.
    pub worst: Vec<WorstRun>,
}

/// One of the worst runs.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct WorstRun {
    /// Its index, as `simulate --member` takes it.
    pub run: u64,
    /// Its value.
    pub value: f64,
}

impl From<MetricSummary> for MetricRow {
    fn from(row: MetricSummary) -> Self {
        Self {
            name: row.name,
            unit: row.unit,
            runs: row.count,
            mean: row.mean,
            least: row.least,
            q05: row.q05,
            q50: row.q50,
            q95: row.q95,
            q99: row.q99,
            most: row.most,
            worst: row.worst.iter().map(|worst| WorstRun { run: worst.run, value: worst.value }).collect(),
        }
    }
}

impl Document for CampaignDocument {
    const KIND: Kind = Kind::Campaign;
}

impl Document for LearnCampaign {
    const KIND: Kind = Kind::LearnCampaign;
}

/// A part of a campaign.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct CampaignPartDocument {
    /// Which, as K/N.
    pub part: String,
    /// The file that keeps it.
    pub file: String,
    /// Runs done.
    pub done: u64,
    /// Runs of the part; fewer are done after an interruption.
    pub wanted: u64,
}

impl Document for CampaignPartDocument {
    const KIND: Kind = Kind::CampaignPart;
}

/// The over-boost guard in random worlds. Worlds are drawn evenly over faults and drives: shares are shares of
/// draws, no diagnostic coverage.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct GuardDocument {
    /// Seed.
    pub seed: u64,
    /// Worlds.
    pub worlds: u32,
    /// Worlds that passed a limit.
    pub lost: u32,
    /// Of these, worlds whose run shows no cause.
    pub untraced: u32,
    /// Every named fault.
    pub faults: Vec<GuardRow>,
    /// Each parameter of the guard crippled in turn, where that was asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ablation: Vec<AblatedRow>,
}

/// What became of the worlds with one fault.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct GuardRow {
    fault: &'static str,
    worlds: u32,
    demanding: u32,
    quiet: u32,
    in_time: u32,
    too_late: Vec<u32>,
    undetected: Vec<u32>,
    causes: Vec<GuardLoss>,
    tripped: u32,
    tripped_boost_of_limit: f64,
    tripped_turbo_of_limit: f64,
    tripped_exhaust_of_limit: f64,
    slowest_reaction_ticks: u32,
}

/// Worlds that passed a limit for one cause.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct GuardLoss {
    cause: &'static str,
    worlds: u32,
}

/// What a crippled guard makes of the same worlds.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct AblatedRow {
    crippled: &'static str,
    demanding: u32,
    in_time: u32,
    too_late: u32,
    undetected: u32,
    past_limit_s: f64,
    mean_share_of_limit: f64,
    slowest_reaction_ticks: u32,
    trips: u32,
    fuel_limited_s: f64,
    sound_acted: u32,
}

impl From<&guard::FaultRow> for GuardRow {
    fn from(row: &guard::FaultRow) -> Self {
        let cause =
            |(cause, worlds): &(guard::LossCause, u32)| GuardLoss { cause: cause.name(), worlds: *worlds };
        let [boost, turbo, exhaust] = row.tripped_used;
        Self {
            fault: row.fault.name(),
            worlds: row.worlds,
            demanding: row.demanding,
            quiet: row.quiet,
            in_time: row.in_time,
            too_late: row.too_late.clone(),
            undetected: row.undetected.clone(),
            causes: row.causes.iter().map(cause).collect(),
            tripped: row.tripped(),
            tripped_boost_of_limit: boost,
            tripped_turbo_of_limit: turbo,
            tripped_exhaust_of_limit: exhaust,
            slowest_reaction_ticks: row.reaction_ticks,
        }
    }
}

impl From<&guard::AblationRow> for AblatedRow {
    fn from(row: &guard::AblationRow) -> Self {
        Self {
            crippled: row.crippled,
            demanding: row.demanding,
            in_time: row.in_time,
            too_late: row.too_late,
            undetected: row.undetected,
            past_limit_s: row.past_s,
            mean_share_of_limit: row.mean_used,
            slowest_reaction_ticks: row.slowest_reaction_ticks,
            trips: row.trips,
            fuel_limited_s: row.limited_s,
            sound_acted: row.sound_acted,
        }
    }
}

impl Document for GuardDocument {
    const KIND: Kind = Kind::GuardCampaign;
}

/// How well learns repeat.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct GaugeDocument {
    /// Seed.
    pub seed: u64,
    /// Both stops and the travel.
    pub gauge_study: Vec<Studied>,
}

/// One measured quantity's study.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(crate) struct Studied {
    /// What was measured.
    pub quantity: &'static str,
    /// By averages and ranges: standard deviations, per cent of travel.
    pub by_ranges: Spreads,
    /// By analysis of variance.
    pub by_anova: Spreads,
}

/// Standard deviations in per cent of travel, and the gauge's shares.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub(crate) struct Spreads {
    /// Of repeated learns in one set-up.
    pub repeatability: f64,
    /// Between set-ups.
    pub reproducibility: f64,
    /// Both together.
    pub gauge: f64,
    /// Between units.
    pub units: f64,
    /// Gauge in per cent of all variation.
    pub percent_of_total: f64,
    /// Six-sigma gauge in per cent of the tolerance (both ways).
    pub percent_of_tolerance: f64,
}

impl Document for GaugeDocument {
    const KIND: Kind = Kind::GaugeStudy;
}
