//! What `campaign learn` says of its result, in text.

use study::campaign::learn::{
    ERROR_STEP_ENDS, Endings, FaultTally, LearnCampaign, PairTally, Rate, SEVERITY_STEPS, SignRow,
};
use study::catalogue::{self, Tag};

use crate::fold::Fold;

/// The verdict, what became of each fault, the rates, and the verdict once more.
pub(super) fn text(result: &LearnCampaign, fold: Fold) -> String {
    let verdict = verdict(result);
    let mut rows = vec![["fault", "must", "came out as"].map(str::to_owned).to_vec()];
    let row = |fault: &FaultTally| vec![fault.name.clone(), must(fault.tag).to_owned(), came_out(fault)];
    rows.extend(result.faults.iter().map(row));
    let mut lines = vec![
        verdict.clone(),
        format!(
            "{}, invented: {} simulated learns of each fault, seed {}; nothing moved",
            result.actuator, result.runs, result.seed
        ),
        String::new(),
        fold.table(&rows),
        String::new(),
        format!(
            "wrong: a stop off by more than {:.1} % of travel; within that, accepting is right, even with \
             a must-reject fault",
            100.0 * result.tolerance
        ),
        rate("wrongly accepted of must-reject", &result.wrongly_accepted),
        rate("accepted past a failed check", &result.accepted_unproven),
        rate("wrongly rejected of must-accept", &result.wrongly_rejected),
        rate("refused for another reason", &result.other_reason),
        String::new(),
        "must-reject faults that move a stop or put something in front of it:".to_owned(),
        fold.table(&by_error(result)),
        String::new(),
    ];
    let sound =
        result.faults.iter().find(|fault| fault.tag == Tag::MustAccept).and_then(|fault| fault.seconds);
    lines.extend(sound.map(|times| {
        format!(
            "time to learn of sound units: median {:.2} s, 95 % within {:.2} s, longest {:.2} s",
            times.median, times.p95, times.max
        )
    }));
    lines.extend(result.two_faults.iter().flat_map(pairs));
    if !result.signs.is_empty() {
        lines.extend([String::new(), fold.table(&sign_rows(&result.signs)), String::new()]);
    }
    lines.extend(result.failures().iter().map(|failure| format!("NOT AS EXPECTED: {failure}")));
    lines.push(verdict);
    lines.join("\n")
}

/// Units with two faults.
fn pairs(pairs: &PairTally) -> [String; 3] {
    let Endings { accepted, accepted_wrongly, not_proven, refused, refused_wrongly: _ } = pairs.endings;
    let (accepted, impossible) = (accepted + accepted_wrongly, pairs.impossible);
    [
        format!(
            "two faults at once: accepted {accepted}, not proven {not_proven}, refused {refused}; {impossible} pairs that \
             no unit can have"
        ),
        rate("wrongly accepted with two faults", &pairs.wrongly_accepted),
        format!("stop off, signals sound, caught only by an index mark or a gauge: {}", pairs.held_by_a_look),
    ]
}

/// What it comes to, in a line.
fn verdict(result: &LearnCampaign) -> String {
    let of_faults: u64 = result.faults.iter().map(|fault| fault.wrongly_accepted).sum();
    let believed = of_faults + result.two_faults.as_ref().map_or(0, |pairs| pairs.wrongly_accepted.count);
    let counts =
        format!("{believed} wrong stops believed, {} sound units refused", result.wrongly_rejected.count);
    match result.failures().len() {
        0 => format!("AS EXPECTED: {counts}"),
        failures => format!("NOT AS EXPECTED: {counts}; findings: {failures}"),
    }
}

/// How the learns of a fault ended; what was wrong in capitals.
fn came_out(fault: &FaultTally) -> String {
    let plain =
        [("accepted", fault.accepted), ("not proven", fault.not_proven), ("refused", fault.refused())];
    let wrong = [
        ("WRONGLY ACCEPTED", fault.wrongly_accepted),
        ("WRONGLY REFUSED", fault.wrongly_rejected),
        ("FOR ANOTHER REASON", fault.other_reason),
    ];
    let is_some = |(_, count): &(&str, u64)| *count > 0;
    let said = |(what, count): (&str, u64)| format!("{what} {count}");
    let mut parts: Vec<String> = plain.into_iter().filter(is_some).map(said).collect();
    if !fault.rejected.is_empty() {
        let reasons: Vec<String> =
            fault.rejected.iter().map(|(name, count)| format!("{name} {count}")).collect();
        parts.push(format!("by {}", reasons.join(", ")));
    }
    parts.extend(wrong.into_iter().filter(is_some).map(said));
    parts.extend(last_accepted(fault));
    parts.join("; ")
}

/// The severity below which every acceptance of a must-reject fault lies.
fn last_accepted(fault: &FaultTally) -> Option<String> {
    let step = fault.curves.by_severity.iter().rposition(|step| step.believed().count > 0)?;
    if fault.tag != Tag::MustReject {
        return None;
    }
    if step + 1 == SEVERITY_STEPS {
        return Some("some accepted at the worst severity".to_owned());
    }
    let severity = catalogue::find(&fault.name).ok()?.severity;
    let end = severity.at((step + 1) as f64 / SEVERITY_STEPS as f64);
    Some(format!("none accepted past {end:.3} {}", severity.unit))
}

/// Acceptance against the error of the stop that the ring meets first, head first.
fn by_error(result: &LearnCampaign) -> Vec<Vec<String>> {
    let head = ["off by, % of travel", "learns", "accepted", "exact 95 % bounds", "of these wrong"];
    let mut from = 0.0;
    let mut row = |(step, endings): (usize, &Endings)| {
        let rate = endings.believed();
        let range = match ERROR_STEP_ENDS.get(step) {
            Some(end) => format!("{:.1} to {:.1}", 100.0 * from, 100.0 * end),
            None => format!("over {:.1}", 100.0 * from),
        };
        from = ERROR_STEP_ENDS.get(step).copied().unwrap_or(from);
        let bounds = rate.bounds.map(|bound| format!("{:.2} %", 100.0 * bound)).join(" to ");
        let counts = [rate.of, rate.count].map(|count| count.to_string());
        let [of, count] = counts;
        vec![range, of, count, bounds, endings.accepted_wrongly.to_string()]
    };
    let rows: Vec<Vec<String>> = result.by_error.iter().enumerate().map(&mut row).collect();
    std::iter::once(head.map(str::to_owned).to_vec()).chain(rows).collect()
}

/// What is believed without each sign, head first.
fn sign_rows(signs: &[SignRow]) -> Vec<Vec<String>> {
    let head =
        ["switched off", "faulty", "accepted", "wrongly", "rises most for", "sound refused", "other reason"];
    let row = |row: &SignRow| {
        vec![
            row.without.to_owned(),
            row.faults.to_string(),
            row.accepted.to_string(),
            row.believed.to_string(),
            row.most.unwrap_or("").to_owned(),
            format!("{} of {}", row.refused, row.must_accept),
            row.other_reason.to_string(),
        ]
    };
    std::iter::once(head.map(str::to_owned).to_vec()).chain(signs.iter().map(row)).collect()
}

fn rate(what: &str, rate: &Rate) -> String {
    format!(
        "{what}: {} of {} (exact 95 % bounds {:.4} % to {:.4} %)",
        rate.count,
        rate.of,
        100.0 * rate.bounds[0],
        100.0 * rate.bounds[1]
    )
}

fn must(tag: Tag) -> &'static str {
    match tag {
        Tag::MustReject => "reject",
        Tag::MustAccept => "accept",
        Tag::UndecidableWithout(_) => "be checked",
    }
}
