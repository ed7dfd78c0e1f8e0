//! The opening map from one nozzle to another that keeps the effective area.
//!
//! In: the nozzle that the calibration was made for and the one that goes on. Out: for every opening of the
//! old the opening of the new that leaves the same effective area, limited at both stops, never falling;
//! where the area cannot be met, and by how much. The minimum flow is matched first, by the stop.

use serde::Serialize;

use plant::nozzle::{AreaAt, NozzleModel};

/// How the minimum flow (the area at the closed stop) is kept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum MinimumFlow {
    /// The stop can be set: move it from one vane angle to another.
    MoveStop {
        /// Vane angle at the stop as found, degrees.
        from_deg: f64,
        /// Vane angle that leaves the area the calibration expects, degrees.
        to_deg: f64,
    },
    /// Both stops leave the same area.
    Equal,
    /// The new stop lies further closed and cannot be set; the opening map alone keeps the minimum.
    HeldByMap {
        /// Area at the new stop, mm².
        stop_mm2: f64,
        /// Area that the calibration expects, mm².
        wanted_mm2: f64,
    },
    /// The new ring cannot close that far.
    NotMet {
        /// Smallest area it can leave, mm².
        least_mm2: f64,
        /// Vane angle at which it does, degrees.
        at_deg: f64,
        /// Area that the calibration expects, mm².
        wanted_mm2: f64,
    },
}

/// What becomes of one opening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Met {
    /// The new nozzle leaves the same area.
    SameArea,
    /// Even at its closed stop the new nozzle leaves more.
    AreaTooLarge,
    /// Even at its open stop the new nozzle leaves less.
    AreaTooSmall,
}

/// One opening of the old nozzle and what it becomes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Knot {
    /// Opening of the old nozzle.
    pub old_opening: f64,
    /// Opening of the new nozzle.
    pub new_opening: f64,
    /// Effective area of the old nozzle there, mm².
    pub wanted_mm2: f64,
    /// Effective area of the new nozzle there, mm².
    pub given_mm2: f64,
    /// Vane angles from the tangent there, old and new, degrees.
    pub vane_deg: (f64, f64),
    /// Is the area met?
    pub met: Met,
}

/// A stretch of the old travel whose areas the new nozzle cannot leave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Unmet {
    /// From this opening of the old nozzle.
    pub from: f64,
    /// To this one.
    pub to: f64,
    /// Which way it misses.
    pub met: Met,
    /// Largest miss: given area over wanted area.
    pub worst_ratio: f64,
}

/// The map between two nozzles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpeningMatch {
    /// The nozzle that the calibration was made for.
    pub old: NozzleModel,
    /// The nozzle that goes on, its stop set as [`Self::minimum_flow`] says.
    pub new: NozzleModel,
    /// How the minimum flow is kept.
    pub minimum_flow: MinimumFlow,
}

impl OpeningMatch {
    /// Matches `new` to `old`. `least_deg` is the smallest vane angle to which the new ring's stop can be
    /// set; none where it cannot be set.
    #[must_use]
    pub fn between(old: NozzleModel, new: NozzleModel, least_deg: Option<f64>) -> Self {
        let (new, minimum_flow) = match_minimum_flow(&old, new, least_deg);
        Self { old, new, minimum_flow }
    }

    /// The opening of the new nozzle for an opening of the old one, and whether it meets the area.
    #[must_use]
    pub fn map(&self, old_opening: f64) -> (f64, Met) {
        match self.new.opening_for_area(self.old.effective_area_mm2(old_opening)) {
            AreaAt::Opening(opening) => (opening, Met::SameArea),
            AreaAt::BelowClosed => (0.0, Met::AreaTooLarge),
            AreaAt::AboveOpen => (1.0, Met::AreaTooSmall),
        }
    }

    /// The opening alone.
    #[must_use]
    pub fn opening(&self, old_opening: f64) -> f64 {
        self.map(old_opening).0
    }

    /// How much further the new vanes must move for the same change of area: (dA/du) old over new. Gains
    /// and rates in openings are multiplied by it.
    #[must_use]
    pub fn slope_ratio(&self, old_opening: f64) -> f64 {
        self.old.area_slope_mm2(old_opening) / self.new.area_slope_mm2(self.opening(old_opening))
    }

    /// The map at evenly spaced openings, both stops included; at least two.
    #[must_use]
    pub fn knots(&self, count: u32) -> Vec<Knot> {
        let steps = count.max(2) - 1;
        (0..=steps).map(|step| self.knot(f64::from(step) / f64::from(steps))).collect()
    }

    fn knot(&self, old_opening: f64) -> Knot {
        let (new_opening, met) = self.map(old_opening);
        Knot {
            old_opening,
            new_opening,
            wanted_mm2: self.old.effective_area_mm2(old_opening),
            given_mm2: self.new.effective_area_mm2(new_opening),
            vane_deg: (self.old.angle_deg(old_opening), self.new.angle_deg(new_opening)),
            met,
        }
    }

    /// Where the area cannot be met: at most one stretch at each stop.
    #[must_use]
    pub fn unmet(&self) -> Vec<Unmet> {
        let (least, most) = (self.new.effective_area_mm2(0.0), self.new.effective_area_mm2(1.0));
        let mut found = Vec::new();
        if let (_, met @ Met::AreaTooLarge) = self.map(0.0) {
            let to = self.old_opening_or(least, 1.0);
            found.push(Unmet { from: 0.0, to, met, worst_ratio: least / self.old.effective_area_mm2(0.0) });
        }
        if let (_, met @ Met::AreaTooSmall) = self.map(1.0) {
            let from = self.old_opening_or(most, 0.0);
            found.push(Unmet { from, to: 1.0, met, worst_ratio: most / self.old.effective_area_mm2(1.0) });
        }
        found
    }

    fn old_opening_or(&self, area_mm2: f64, otherwise: f64) -> f64 {
        match self.old.opening_for_area(area_mm2) {
            AreaAt::Opening(opening) => opening,
            AreaAt::BelowClosed | AreaAt::AboveOpen => otherwise,
        }
    }
}

fn match_minimum_flow(
    old: &NozzleModel,
    new: NozzleModel,
    least_deg: Option<f64>,
) -> (NozzleModel, MinimumFlow) {
    let wanted_mm2 = old.effective_area_mm2(0.0);
    if new.opening_for_area(wanted_mm2) == AreaAt::Opening(0.0) {
        return (new, MinimumFlow::Equal);
    }
    let from_deg = new.closed_deg;
    let least_reach = least_deg.and_then(|least| new.with_closed_angle(least));
    match least_reach.map(|reach| (reach, reach.opening_for_area(wanted_mm2))) {
        Some((reach, AreaAt::Opening(opening))) => {
            let to_deg = reach.angle_deg(opening);
            let moved = new.with_closed_angle(to_deg).unwrap_or(reach);
            (moved, MinimumFlow::MoveStop { from_deg, to_deg })
        }
        Some((reach, _)) => {
            let least_mm2 = reach.effective_area_mm2(0.0);
            (reach, MinimumFlow::NotMet { least_mm2, at_deg: reach.angle_deg(0.0), wanted_mm2 })
        }
        None => {
            let stop_mm2 = new.effective_area_mm2(0.0);
            if stop_mm2 < wanted_mm2 {
                (new, MinimumFlow::HeldByMap { stop_mm2, wanted_mm2 })
            } else {
                (new, MinimumFlow::NotMet { least_mm2: stop_mm2, at_deg: from_deg, wanted_mm2 })
            }
        }
    }
}
