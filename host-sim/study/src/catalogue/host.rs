//! Faults of link, host and controller while it learns.

use super::{Family, Preset, Tag};

pub(super) const PRESETS: &[Preset] = &[
    Family::Host.preset(
        "host-silent",
        "the host goes silent during the learn",
        Tag::MustReject,
        (0.1, 5.0, "s after the start"),
        &["host lost"],
        |case, at_s| case.mishaps.host_silent_at_s = Some(at_s),
    ),
    Family::Host.preset(
        "controller-restarts",
        "the controller restarts during the learn",
        Tag::MustReject,
        (0.1, 5.0, "s after the start"),
        &["tick lost"],
        |case, at_s| case.mishaps.restart_at_s = Some(at_s),
    ),
    Family::Host.preset(
        "garbage-on-line",
        "noise bytes on the line during the learn",
        Tag::MustAccept,
        (1.0, 11.0, "bytes per tick"),
        &[],
        |case, bytes| case.mishaps.garbage_on_line = Some(bytes as u32),
    ),
];
