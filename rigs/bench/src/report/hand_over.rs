//! Whose unit it is, and when it was measured: what stands on every page that is handed over.

use crate::record::{Provenance, Run};
use crate::short_text::ShortText;

/// Where a person writes.
pub(super) const LINE: &str = "______________";

/// Name and value of each fact; what nobody has given is a line to write on.
pub(super) fn whose(run: &Run) -> Vec<(&'static str, String)> {
    let given = run.file.run.provenance.as_ref();
    let or_line = |text: fn(&Provenance) -> &Option<ShortText>| {
        given.and_then(|given| text(given).as_ref()).map_or_else(|| LINE.to_owned(), ToString::to_string)
    };
    vec![
        ("actuator serial", or_line(|given| &given.serials.actuator)),
        ("turbo serial", or_line(|given| &given.serials.turbo)),
        ("operator", or_line(|given| &given.operator)),
        ("customer's reference", or_line(|given| &given.customer)),
        ("job", given.map_or_else(|| LINE.to_owned(), |given| given.job.to_string())),
    ]
}

/// When the run began. Virtual units carry no date: their pages repeat byte for byte.
pub(super) fn date(run: &Run) -> String {
    let simulated = run.file.run.virtual_unit.as_ref();
    simulated.map_or_else(
        || run.file.begun().unwrap_or_else(|| "not known".into()),
        |unit| format!("none: simulated ({unit}), no real unit moved"),
    )
}
