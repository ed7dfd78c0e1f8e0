//! `campaign`: one scenario, or one question, over thousands of units that differ as units do; and the merging of
//! parts that other processes made.

use super::{campaign_merge, gauge_study, guard_campaign, learn_campaign, scenario_campaign};
use crate::caution::Effect;
use crate::console::Console;
use crate::exit::VerbResult;

/// What `campaign` takes.
#[derive(Debug, clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Args {
    #[command(subcommand)]
    about: Option<CampaignVerb>,
    #[command(flatten)]
    scenario: scenario_campaign::ScenarioCampaignArgs,
}

#[derive(Debug, clap::Subcommand)]
enum CampaignVerb {
    /// Does end-stop learning ever believe a wrong stop? Every fault of the catalogue, many times
    Learn(learn_campaign::Args),
    /// Does the guard keep every limit, whatever is wrong? Named faults in random worlds
    Guard(guard_campaign::Args),
    /// How well does a learn repeat? Units by set-ups by learns
    Gauge(gauge_study::Args),
    /// Join the parts of a campaign: the same bytes as one run
    Merge(campaign_merge::Args),
}

impl Args {
    pub(crate) fn effect(&self) -> Effect {
        match self.about {
            None
            | Some(
                CampaignVerb::Learn(_)
                | CampaignVerb::Guard(_)
                | CampaignVerb::Gauge(_)
                | CampaignVerb::Merge(_),
            ) => Effect::Neither,
        }
    }
}

/// Runs the campaign.
///
/// # Errors
/// A [`crate::exit::Failure`] that names file and field; an interrupted campaign ends with 130 and keeps its file.
pub fn run(args: &Args, console: &Console) -> VerbResult {
    match &args.about {
        Some(CampaignVerb::Learn(args)) => learn_campaign::run(args, console),
        Some(CampaignVerb::Guard(args)) => guard_campaign::run(args, console),
        Some(CampaignVerb::Gauge(args)) => gauge_study::run(args, console),
        Some(CampaignVerb::Merge(args)) => campaign_merge::run(args, console),
        None => scenario_campaign::run(&args.scenario, console),
    }
}
