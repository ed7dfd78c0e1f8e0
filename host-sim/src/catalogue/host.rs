//! Faults of link, host and controller while it learns.

use super::{Case, Family, Preset, Severity, Tag};

const fn preset(
    name: &'static str,
    about: &'static str,
    tag: Tag,
    severity: (f64, f64, &'static str),
    reasons: &'static [&'static str],
    apply: fn(&mut Case, f64),
) -> Preset {
    let severity = Severity { mild: severity.0, worst: severity.1, unit: severity.2 };
    Preset { name, about, family: Family::Host, tag, severity, reasons, apply }
}

pub(super) const PRESETS: &[Preset] = &[
    preset(
        "host-silent",
        "the host goes silent during the learn",
        Tag::MustReject,
        (0.1, 5.0, "s after the start"),
        &["host lost"],
        |case, at_s| case.mishaps.host_silent_at_s = Some(at_s),
    ),
    preset(
        "controller-restarts",
        "the controller restarts during the learn",
        Tag::MustReject,
        (0.1, 5.0, "s after the start"),
        &["tick lost"],
        |case, at_s| case.mishaps.restart_at_s = Some(at_s),
    ),
    preset(
        "garbage-on-line",
        "noise bytes on the line during the learn",
        Tag::MustAccept,
        (1.0, 11.0, "bytes per tick"),
        &[],
        |case, bytes| case.mishaps.garbage_on_line = Some(bytes as u32),
    ),
];
