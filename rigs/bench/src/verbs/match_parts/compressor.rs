//! How both compressors breathe, in rows: margins at each load step, air and power that could be in them.

use parts::compressor_map::{MapBasis, OutletPressure};
use parts::matching::{AirBound, Breath, Potential, Study};

use super::rows::row;

fn percent((value, half): (f64, f64)) -> String {
    format!("{:.0} ± {:.0} %", 100.0 * value, 100.0 * half)
}

/// Margins at the end of each load step, head first.
pub(super) fn margin_rows(study: &Study) -> Vec<Vec<String>> {
    let mut rows = vec![row([
        "compressor, old / new re-mapped",
        "air, g/s",
        "tip, m/s",
        "Mach",
        "above surge",
        "below choke",
    ])];
    for (run, both) in study.air.iter().zip(&study.breathing.points) {
        let pair = |of: &dyn Fn(&Breath) -> String| both.iter().map(of).collect::<Vec<_>>().join(" / ");
        rows.push(row([
            run.point.name.to_owned(),
            pair(&|b| format!("{:.0}", 1e3 * b.air_kg_s)),
            pair(&|b| format!("{:.0}", b.tip_m_s)),
            pair(&|b| format!("{:.2}", b.tip_mach)),
            pair(&|b| percent(b.surge_margin)),
            pair(&|b| percent(b.choke_margin)),
        ]));
    }
    rows
}

/// Flow coefficients at the end of each load step against the wheel's range there, head first.
pub(super) fn coefficient_rows(study: &Study) -> Vec<Vec<String>> {
    let shown = |breath: &Breath| {
        let (surge, choke) = breath.coefficient_range;
        format!("{:.3} ({surge:.3} to {choke:.3})", breath.flow_coefficient)
    };
    let mut rows = vec![row(["flow coefficient (surge to choke)", "old", "new re-mapped"])];
    rows.extend(
        study
            .air
            .iter()
            .zip(&study.breathing.points)
            .map(|(run, [old, new])| row([run.point.name.to_owned(), shown(old), shown(new)])),
    );
    rows
}

/// Air and power, old and new, head first.
pub(super) fn potential_rows(study: &Study) -> Vec<Vec<String>> {
    let [old, new] = &study.breathing.potential;
    let interval = |range: Option<(f64, f64)>, scale: f64| {
        range.map_or_else(
            || "not reached".to_owned(),
            |(least, most)| format!("{:.0} to {:.0}", scale * least, scale * most),
        )
    };
    let bound = |side: &Potential| match side.bound {
        AirBound::TurboSpeed => "turbo-speed limit",
        AirBound::Inducer => "choked inducer",
    };
    let ratio = format!("most air at pressure ratio {:.2}, g/s", old.pressure_ratio);
    vec![
        row(["what the compressor could supply", "old", "new"]),
        row([&ratio, &interval(old.air_kg_s, 1e3), &interval(new.air_kg_s, 1e3)]),
        row([
            "power that this air could support, kW",
            &interval(old.power_kw, 1.0),
            &interval(new.power_kw, 1.0),
        ]),
        row(["limited by", bound(old), bound(new)]),
    ]
}

/// What a compressor's margins rest on, in a sentence.
fn map_words(side: &str, map: Option<MapBasis>) -> String {
    let Some(map) = map else { return format!("{side} compressor: estimated, no map was given. ") };
    let outlet = match map.outlet {
        OutletPressure::Total => "total to total",
        OutletPressure::Static => "total to static, taken as total",
    };
    let (kelvin, kpa) = (map.kelvin, map.pascal / 1e3);
    format!("{side} compressor: measured map, {outlet}, corrected to {kelvin} K and {kpa} kPa absolute. ")
}

/// What margins and power rest on, in sentences.
pub(super) fn ground(study: &Study) -> String {
    let ranges = study.breathing.ranges;
    let maps: String =
        ["Old", "New"].iter().zip(study.breathing.maps).map(|(side, map)| map_words(side, map)).collect();
    format!(
        "{maps}Power is air over air-fuel ratio ({:.0} to {:.0}) and consumption ({:.0} to {:.0} g/kWh; \
         common practice, no source, where not stated). It is not a promise: fuel, heat and strength come \
         first, and emission law applies.",
        ranges.air_fuel.0, ranges.air_fuel.1, ranges.g_per_kwh.0, ranges.g_per_kwh.1
    )
}

/// Compressors that the load steps drive into surge or choke for certain, a sentence each.
pub(super) fn beyond(study: &Study) -> Vec<String> {
    let mut said = Vec::new();
    for (run, [_, new]) in study.air.iter().zip(&study.breathing.points) {
        for (margin, what) in [(new.surge_margin, "surge"), (new.choke_margin, "choke")] {
            if margin.0 + margin.1 < 0.0 {
                said.push(format!(
                    "the new compressor runs beyond {what} at {}: {}; use another compressor or trim",
                    run.point.name,
                    percent(margin)
                ));
            }
        }
    }
    said
}
