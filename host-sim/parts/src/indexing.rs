//! Reads the indexing chain: what lies between the housing and a vane's angle, each with its tolerance.
//!
//! In: the table as written. Out: [`Indexing`] in degrees. Refuses a link with both or neither kind of
//! tolerance, and numbers that no ring can have.

use serde::Deserialize;
use serde_spanned::Spanned;

use super::entry::words;
use super::problem::{Problem, SheetFinding};
use super::sheet::{ActsOn, IndexLink, Indexing};
use plant::shown::{MOST_SHOWN, brief};

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RawIndexing {
    #[serde(default)]
    datum: String,
    #[serde(default)]
    chain: Vec<Spanned<RawLink>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLink {
    name: String,
    on: ActsOn,
    tol_deg: Option<Spanned<f64>>,
    tol_mm: Option<Spanned<f64>>,
    at_radius_mm: Option<Spanned<f64>>,
}

/// A number of a link: key, unit, least and most. Wide: they catch slips of the pen, not worn parts.
type Allowed = (&'static str, &'static str, f64, f64);
const TOL_DEG: Allowed = ("tol_deg", "°", 0.0, 20.0);
const TOL_MM: Allowed = ("tol_mm", "mm", 0.0, 20.0);
/// From the smallest pivot circle's pins to the longest ring lever, with room.
const AT_RADIUS_MM: Allowed = ("at_radius_mm", "mm", 5.0, 260.0);

pub(super) fn read(
    raw: RawIndexing,
    line_of: &dyn Fn(usize) -> usize,
) -> Result<Indexing, Vec<SheetFinding>> {
    let mut findings = Vec::new();
    let datum = words(raw.datum, MOST_SHOWN).unwrap_or_else(|problem| {
        findings.push(SheetFinding { line: None, field: "indexing.datum".into(), problem });
        String::new()
    });
    let mut chain = Vec::new();
    for spanned in raw.chain {
        let start = spanned.span().start;
        match link(spanned.into_inner()) {
            Ok(link) => chain.push(link),
            Err((at, field, problem)) => {
                findings.push(SheetFinding { line: Some(line_of(at.unwrap_or(start))), field, problem });
            }
        }
    }
    if findings.is_empty() { Ok(Indexing { datum, chain }) } else { Err(findings) }
}

/// Where, which field, what is wrong.
type Refused = (Option<usize>, String, Problem);

fn link(raw: RawLink) -> Result<IndexLink, Refused> {
    let field = format!("indexing.chain {:?}", brief(&raw.name));
    let name = words(raw.name, MOST_SHOWN).map_err(|problem| (None, field.clone(), problem))?;
    let tolerance_deg = match (&raw.tol_deg, &raw.tol_mm, &raw.at_radius_mm) {
        (Some(degrees), None, None) => within(degrees, TOL_DEG, &field)?,
        (None, Some(mm), Some(radius)) => {
            let (mm, radius) = (within(mm, TOL_MM, &field)?, within(radius, AT_RADIUS_MM, &field)?);
            libm::atan2(mm, radius).to_degrees()
        }
        (None, None, _) | (None, Some(_), None) | (Some(_), Some(_), _) | (Some(_), None, Some(_)) => {
            let example = "tol_deg = …, or tol_mm = … with at_radius_mm = …".into();
            return Err((None, field, Problem::NotAQuantity { example }));
        }
    };
    Ok(IndexLink { name, tolerance_deg, acts_on: raw.on })
}

fn within(written: &Spanned<f64>, (key, unit, min, max): Allowed, field: &str) -> Result<f64, Refused> {
    let value = *written.get_ref();
    if (min..=max).contains(&value) {
        return Ok(value);
    }
    let problem = Problem::OutOfRange { value, unit, min, max };
    Err((Some(written.span().start), format!("{field}: {key}"), problem))
}
