//! Each parameter of the guard, and of the checks on boost ahead of it, crippled in turn: what it is worth.
//!
//! In: a campaign. Out: one row per parameter with what moved. All rows are over the same worlds: those that pass
//! a limit without a guard, and the sound ones; in the others a guard has nothing to hold. A parameter that moves
//! nothing alone is crippled together with the one that covers for it.

use std::sync::atomic::{AtomicU64, Ordering};

use firmware_core::settings::{SPEED_POINTS, Settings};
use firmware_core::units::{Kilopascal, Load, Opening, Rpm};
use rayon::prelude::*;

use super::ending::WorldEnding;
use super::fault::GuardFault;
use super::run::{is_demanding, run_guarded};
use super::watch::RunWatch;
use super::{GuardCampaign, GuardCampaignError, Next, Progress};
use plant::world::TICK_S;

/// What a crippled guard makes of the worlds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AblationRow {
    /// What was crippled, and how far.
    pub crippled: &'static str,
    /// Demanding worlds run; the sound ones come on top.
    pub demanding: u32,
    /// Of these, limits kept with the guard acting.
    pub in_time: u32,
    /// A limit was passed although something was noticed.
    pub too_late: u32,
    /// A limit was passed and nothing was noticed.
    pub undetected: u32,
    /// Time past a limit over all demanding worlds, s.
    pub past_s: f64,
    /// Highest share of any limit used, mean over the demanding worlds.
    pub mean_used: f64,
    /// Slowest reaction in demanding worlds, ticks.
    pub slowest_reaction_ticks: u32,
    /// How often the vanes were told to open in demanding worlds.
    pub trips: u32,
    /// Time with fuel limited or cut in demanding worlds, s.
    pub limited_s: f64,
    /// Sound worlds in which the guard acted.
    pub sound_acted: u32,
}

/// A way to cripple the guard.
type Cripple = (&'static str, fn(&mut Settings));

const CRIPPLES: [Cripple; 36] = [
    ("nothing: the settings as they are", |_| {}),
    ("boost 900", |it| it.guard.limits.boost = Kilopascal(900.0)),
    ("boost_ratio 8", |it| it.guard.limits.boost_ratio = 8.0),
    ("boost_over_target 300", |it| it.guard.limits.boost_over_target = Kilopascal(300.0)),
    ("boost_lag_margin 0", |it| it.guard.limits.boost_lag_margin = Kilopascal(0.0)),
    ("turbo_speed 500 000", |it| it.guard.limits.turbo_speed = Rpm(500_000.0)),
    ("turbo_speed_lag_margin 0", |it| it.guard.limits.turbo_speed_lag_margin = Rpm(0.0)),
    ("exhaust 2000", |it| it.guard.limits.exhaust = Kilopascal(2000.0)),
    ("exhaust_lag_margin 0", |it| it.guard.limits.exhaust_lag_margin = Kilopascal(0.0)),
    // Plausibility reads the same table: at 0 it takes every boost reading for one too high and derates.
    ("speed_estimate_rpm 0", |it| it.guard.limits.speed_estimate_rpm = [0.0; SPEED_POINTS]),
    ("speed_estimate_rpm 500 000", |it| it.guard.limits.speed_estimate_rpm = [500_000.0; SPEED_POINTS]),
    ("debounce_ticks 200", |it| it.guard.stages.debounce_ticks = 200),
    ("reaction_ticks 0", |it| it.guard.stages.reaction_ticks = 0),
    ("ease_band 0.005", |it| it.guard.stages.ease_band = 0.005),
    ("ease_rate_per_s 0.05", |it| it.guard.stages.ease_rate_per_s = 0.05),
    ("hysteresis 0", |it| it.guard.stages.hysteresis = 0.0),
    ("release_ticks 10", |it| it.guard.stages.release_ticks = 10),
    ("latch_ticks 60 000", |it| it.guard.stages.latch_ticks = 60_000),
    ("latch_trips 100", |it| it.guard.stages.latch_trips = 100),
    ("open_travel 0.005", |it| it.guard.stages.open_travel = 0.005),
    ("open_travel_ticks 5000", |it| it.guard.stages.open_travel_ticks = 5000),
    ("short_by 300", |it| it.guard.stages.short_by = Kilopascal(300.0)),
    ("short_ticks 60 000", |it| it.guard.stages.short_ticks = 60_000),
    ("short_opening 0", |it| it.guard.stages.short_opening = Opening::CLOSED),
    ("derate 0.9", |it| it.guard.stages.derate = Load::saturating(0.9, Load::MIN)),
    ("smoke_limit 0.9", |it| it.guard.stages.smoke_limit = Load::saturating(0.9, Load::MIN)),
    ("derate 0.9 and smoke_limit 0.9", |it| {
        it.guard.stages.derate = Load::saturating(0.9, Load::MIN);
        it.guard.stages.smoke_limit = it.guard.stages.derate;
    }),
    ("latch_ticks 60 000 and latch_trips 100", |it| {
        (it.guard.stages.latch_ticks, it.guard.stages.latch_trips) = (60_000, 100);
    }),
    ("boost 900, boost_ratio 8 and boost_over_target 300", |it| {
        (it.guard.limits.boost, it.guard.limits.boost_ratio) = (Kilopascal(900.0), 8.0);
        it.guard.limits.boost_over_target = Kilopascal(300.0);
    }),
    ("boost_frozen_ticks 5000", |it| it.plausibility.boost_frozen_ticks = 5000),
    ("exhaust_over_boost 10", |it| it.plausibility.exhaust_over_boost = 10.0),
    ("unseen_authority 0.3", |it| it.target.trim.unseen_authority = it.target.trim.authority),
    ("boost_frozen_ticks 5000 and exhaust_over_boost 10", |it| {
        (it.plausibility.boost_frozen_ticks, it.plausibility.exhaust_over_boost) = (5000, 10.0);
    }),
    ("all three checks on boost, each as above", |it| {
        (it.plausibility.boost_frozen_ticks, it.plausibility.exhaust_over_boost) = (5000, 10.0);
        it.target.trim.unseen_authority = it.target.trim.authority;
    }),
    ("exhaust_soft 2000", |it| it.target.modes.exhaust_soft = Kilopascal(2000.0)),
    ("pumping_soft 2000", |it| it.target.modes.pumping_soft = Kilopascal(2000.0)),
];

/// Runs the demanding and the sound worlds of a campaign once for each crippled guard; nothing when `watch` stops it.
///
/// # Errors
/// The first world that was refused or ran away.
pub fn ablation(
    campaign: &GuardCampaign,
    watch: &(dyn Fn(Progress) -> Next + Sync),
) -> Result<Option<Vec<AblationRow>>, GuardCampaignError> {
    let done = AtomicU64::new(0);
    let guards = CRIPPLES.len() as u64;
    let one_more = |wanted| watch(Progress { done: done.fetch_add(1, Ordering::Relaxed) + 1, wanted });
    let most = u64::from(campaign.worlds) * (1 + guards);
    let worlds: Vec<u32> = (0..campaign.worlds)
        .into_par_iter()
        .map(|index| {
            let is_run = is_sound(index) || is_demanding(campaign, index)?;
            one_more(most);
            Ok(is_run.then_some(index))
        })
        .filter_map(Result::transpose)
        .collect::<Result<_, GuardCampaignError>>()?;
    let wanted = u64::from(campaign.worlds) + worlds.len() as u64 * guards;
    let rows = CRIPPLES.iter().map(|cripple| crippled(campaign, &worlds, cripple, &|| one_more(wanted)));
    rows.map(Result::transpose).collect::<Option<Result<_, _>>>().transpose()
}

fn is_sound(index: u32) -> bool {
    (index as usize).is_multiple_of(GuardFault::ALL.len())
}

fn crippled(
    campaign: &GuardCampaign,
    worlds: &[u32],
    (crippled, change): &Cripple,
    one_more: &(dyn Fn() -> Next + Sync),
) -> Result<Option<AblationRow>, GuardCampaignError> {
    let mut settings: Settings = campaign.settings;
    change(&mut settings);
    let run = |index: &u32| {
        let watch = run_guarded(campaign, &settings, *index);
        match one_more() {
            Next::GoOn => Some(watch.map(|watch| (*index, watch))),
            Next::Stop => None,
        }
    };
    let runs: Option<Result<Vec<(u32, RunWatch)>, _>> = worlds.par_iter().map(run).collect();
    let Some(runs) = runs.transpose()? else { return Ok(None) };
    let mut row = AblationRow { crippled, ..AblationRow::default() };
    for (index, watch) in &runs {
        if is_sound(*index) {
            row.sound_acted += u32::from(watch.has_acted());
        } else {
            row.add(watch);
        }
    }
    row.mean_used /= f64::from(row.demanding.max(1));
    Ok(Some(row))
}

impl AblationRow {
    fn add(&mut self, watch: &RunWatch) {
        self.demanding += 1;
        match watch.ending() {
            WorldEnding::Quiet => {}
            WorldEnding::InTime => self.in_time += 1,
            WorldEnding::TooLate(_) => self.too_late += 1,
            WorldEnding::Undetected(_) => self.undetected += 1,
        }
        let toll = watch.toll();
        self.past_s += f64::from(toll.past_ticks) * TICK_S;
        self.limited_s += f64::from(toll.limited_ticks) * TICK_S;
        self.trips += toll.trips;
        self.mean_used += watch.most_used();
        self.slowest_reaction_ticks = self.slowest_reaction_ticks.max(watch.slowest_reaction_ticks());
    }
}
