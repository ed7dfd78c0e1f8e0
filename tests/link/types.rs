//! Reads the link's types from their source, so that the wire page can be checked against them: names,
//! order, types and the first sentence of each comment.

use std::collections::VecDeque;
use std::fmt::Write;
use std::path::Path;

/// Files that hold the link's types; the first definition of a name counts.
const FILES: [&str; 27] = [
    "link/message.rs",
    "link/state.rs",
    "link/state/start.rs",
    "link/refusal.rs",
    "link/batch.rs",
    "link/sequence.rs",
    "link/self_test.rs",
    "held.rs",
    "store/result.rs",
    "calibration.rs",
    "motion/profile.rs",
    "probe.rs",
    "sample.rs",
    "guard/stage.rs",
    "learn/mod.rs",
    "learn/stop.rs",
    "learn/refusal/mod.rs",
    "settings/field.rs",
    "settings/section.rs",
    "settings/actuator.rs",
    "settings/plausibility.rs",
    "settings/target.rs",
    "settings/guard.rs",
    "settings/motion.rs",
    "settings/learn.rs",
    "link/point.rs",
    "tables.rs",
];

/// Types that are one number on the wire, and which.
const NUMBERS: [(&str, &str); 15] = [
    ("Tick", "u32"),
    ("Counts", "i16"),
    ("Opening", "f32"),
    ("Duty", "f32"),
    ("Load", "f32"),
    ("Ampere", "f32"),
    ("Volt", "f32"),
    ("Celsius", "f32"),
    ("Kilopascal", "f32"),
    ("Rpm", "f32"),
    ("FaultSet", "u32"),
    ("LimitSet", "u16"),
    ("CheckSet", "u8"),
    ("SettingsHash", "u32"),
    ("OriginTag", "u64"),
];

/// A field or a variant.
struct Part {
    name: String,
    wire: String,
    says: String,
}

/// A structure (fields) or an enum (variants).
struct Type {
    name: String,
    is_enum: bool,
    says: String,
    parts: Vec<Part>,
}

/// All types that messages are made of, as the tables of the page.
pub(crate) fn tables(core: &Path) -> String {
    let mut known: Vec<Type> = Vec::new();
    let mut constants: Vec<(String, String)> = Vec::new();
    for file in FILES {
        let source =
            std::fs::read_to_string(core.join(file)).unwrap_or_else(|error| panic!("{file}: {error}"));
        constants.extend(source.lines().filter_map(constant));
        for found in types(&spelled_out(&source)) {
            if known.iter().all(|earlier| earlier.name != found.name) {
                known.push(found);
            }
        }
    }
    let mut text = String::new();
    let mut waiting = VecDeque::from(["ToBoard".to_owned(), "ToHost".to_owned()]);
    let mut written: Vec<String> = Vec::new();
    while let Some(name) = waiting.pop_front() {
        if written.contains(&name) {
            continue;
        }
        let Some(found) = known.iter().find(|known| known.name == name) else {
            assert!(is_number(&name), "{name} is in no file that is read for the wire page");
            continue;
        };
        write_table(&mut text, found, &constants);
        waiting.extend(found.parts.iter().flat_map(|part| names_in(&part.wire)));
        written.push(name);
    }
    text
}

fn write_table(text: &mut String, found: &Type, constants: &[(String, String)]) {
    let (kind, first) = if found.is_enum { ("enum", "kind") } else { ("structure", "field") };
    writeln!(text, "### {} ({kind})\n\n{}\n", found.name, found.says).unwrap();
    writeln!(text, "| {first} | holds | meaning |\n|---|---|---|").unwrap();
    for (number, part) in found.parts.iter().enumerate() {
        let name = if found.is_enum { format!("{number} {}", part.name) } else { part.name.clone() };
        let wire = if part.wire.is_empty() {
            "–".to_owned()
        } else {
            format!("`{}`", plain(&part.wire, constants))
        };
        writeln!(text, "| {name} | {wire} | {} |", part.says).unwrap();
    }
    text.push('\n');
}

fn is_number(name: &str) -> bool {
    NUMBERS.iter().any(|(known, _)| *known == name) || ["Option", "Vec", "String"].contains(&name)
}

/// `const NAME: usize = NUMBER;`, whatever its visibility.
fn constant(line: &str) -> Option<(String, String)> {
    let (name, number) = line.split_once("const ")?.1.split_once(": usize = ")?;
    Some((name.to_owned(), number.strip_suffix(';')?.to_owned()))
}

/// A type with its numbers and constants spelled out.
fn plain(wire: &str, constants: &[(String, String)]) -> String {
    let mut text = String::new();
    for (name, rest) in split_names(wire) {
        if let Some((_, number)) = constants.iter().find(|(known, _)| known == name) {
            text.push_str(number);
        } else if let Some((_, number)) = NUMBERS.iter().find(|(known, _)| *known == name) {
            write!(text, "{number} {name}").unwrap();
        } else if let Some(size) = name.strip_suffix("Map") {
            // A square of numbers, row by row; `Map<f32>` and `OpeningMap` are the same.
            let points = &constants.iter().find(|(known, _)| known == "MAP_POINTS").unwrap().1;
            write!(text, "[[f32; {points}]; {points}] {size}").unwrap();
        } else {
            text.push_str(name);
        }
        text.push_str(rest);
    }
    text
}

/// Names of types and constants, each with what follows it up to the next.
fn split_names(wire: &str) -> Vec<(&str, &str)> {
    let mut parts = Vec::new();
    let mut rest = wire;
    while !rest.is_empty() {
        let name_end = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        let (name, after) = rest.split_at(name_end);
        let gap_end = after.find(|c: char| c.is_alphanumeric() || c == '_').unwrap_or(after.len());
        let (gap, next) = after.split_at(gap_end);
        parts.push((name, gap));
        rest = next;
    }
    parts
}

/// The structures and enums that a type is made of.
fn names_in(wire: &str) -> Vec<String> {
    let is_type =
        |name: &str| name.starts_with(char::is_uppercase) && !name.contains('_') && !name.ends_with("Map");
    split_names(wire)
        .into_iter()
        .map(|(name, _)| name)
        .filter(|name| is_type(name))
        .map(str::to_owned)
        .collect()
}

/// A source with what its tables of settings stand for: a section's rows as fields whose comment ends with what is
/// allowed, the list of sections as an enum.
fn spelled_out(source: &str) -> String {
    let mut text = String::new();
    let mut table = false;
    for line in source.lines() {
        match line {
            "section! {" => table = true,
            "sections! {" => {
                table = true;
                text.push_str("/// One piece of the settings.\npub enum SettingsSection {\n");
            }
            "}" if table && !text.ends_with("}\n") => {
                table = false;
                text.push_str("}\n");
            }
            "}" if table => table = false,
            _ if table => text.push_str(&row(line.strip_prefix("    ").unwrap_or(line))),
            _ => writeln!(text, "{line}").unwrap(),
        }
    }
    text
}

/// A line of such a table as Rust writes a field or a variant.
fn row(line: &str) -> String {
    let Some(row) = line.strip_suffix(';').filter(|row| !row.trim_start().starts_with("//")) else {
        return line.replace(" as it {", " {") + "\n";
    };
    let (field, rule) = row.split_once(" = ").unwrap_or((row, ""));
    let (field, _) = field.split_once(" at ").unwrap_or((field, ""));
    let field = field.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ');
    let Some((min, max)) = rule.split_once(", from ").and_then(|(_, range)| range.split_once(", to ")) else {
        return format!("{field},\n");
    };
    let (max, step) = max.split_once(", rising by ").map_or((max, String::new()), |(max, step)| {
        let step = step.trim_end_matches(" thousandths").parse::<f32>().unwrap() / 1000.0;
        (max, format!(", each at least {step} above the one before"))
    });
    format!("/// Allowed: {} to {}{step}.\n{field},\n", bound(min), bound(max))
}

/// A bound as it is read: a number, or what it makes of a field above.
fn bound(code: &str) -> String {
    let code = code.replace("it.", "").replace(".as_f32()", "").replace(".get()", "");
    if let Ok(value) = code.replace('_', "").parse::<f32>() {
        return format!("{value}").replace('-', "−");
    }
    if let Some((one, other)) = code.strip_suffix(')').and_then(|code| code.split_once(".min(")) {
        return format!("{} or {}, whichever is less", bound(one), bound(other));
    }
    if let Some((one, other)) = code.strip_suffix(')').and_then(|code| code.split_once(".max(")) {
        return format!("{} or {}, whichever is more", bound(one), bound(other));
    }
    if let Some((one, other)) = code.split_once(" + ") {
        return format!("{} + {}", bound(one), bound(other));
    }
    if let Some(whole) = code.strip_prefix("half(").and_then(|code| code.strip_suffix(')')) {
        return format!("half of {}", bound(whole));
    }
    match code.as_str() {
        "BAROMETER_MIN_KPA" => "30".to_owned(),
        "MOST_LIMITED_FUEL" => "0.9".to_owned(),
        "least_boost()" => "that".to_owned(),
        _ => format!(
            "`{}`",
            code.trim_start_matches("f32::from(").trim_end_matches(')').trim_end_matches(".0")
        ),
    }
}

fn types(source: &str) -> Vec<Type> {
    let mut found = Vec::new();
    let mut says = Vec::new();
    let mut lines = source.lines();
    while let Some(line) = lines.next() {
        if let Some(comment) = line.strip_prefix("/// ") {
            says.push(comment.to_owned());
            continue;
        }
        if line.starts_with("#[") {
            continue;
        }
        let head = line.strip_prefix("pub struct ").or_else(|| line.strip_prefix("pub enum "));
        if let Some(name) = head.and_then(|head| head.strip_suffix(" {")) {
            let body: Vec<&str> = lines.by_ref().take_while(|line| *line != "}").collect();
            let is_enum = line.starts_with("pub enum");
            found.push(Type { name: name.to_owned(), is_enum, says: sentence(&says), parts: parts(&body) });
        }
        says.clear();
    }
    found
}

/// Fields or variants of a body as rustfmt writes it.
fn parts(body: &[&str]) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    let (mut says, mut inner): (Vec<String>, Option<Part>) = (Vec::new(), None);
    for line in body.iter().map(|line| line.trim()) {
        if let Some(comment) = line.strip_prefix("///") {
            if inner.is_none() {
                says.push(comment.trim().to_owned());
            }
        } else if line.starts_with("#[") || line.starts_with("//") || line.is_empty() {
        } else if let Some(mut variant) = inner.take() {
            if line == "}," {
                parts.push(variant);
            } else {
                let field = line.trim_end_matches(',').replace(": ", " ");
                let comma = if variant.wire.is_empty() { "" } else { ", " };
                variant.wire = format!("{}{comma}{field}", variant.wire);
                inner = Some(variant);
            }
        } else {
            let part = |name: &str, wire: &str| Part {
                name: name.to_owned(),
                wire: wire.to_owned(),
                says: sentence(&says),
            };
            let line =
                line.trim_start_matches("pub(crate) ").trim_start_matches("pub ").trim_end_matches(',');
            if let Some(name) = line.strip_suffix(" {") {
                inner = Some(part(name, ""));
            } else if let Some((name, wire)) = line.split_once(": ") {
                parts.push(part(name, wire));
            } else if let Some((name, wire)) = line.split_once('(') {
                parts.push(part(name, wire.trim_end_matches(')')));
            } else {
                parts.push(part(line, ""));
            }
            says.clear();
        }
    }
    parts
}

/// Comment lines as one text without the marks of links, up to the default: that is no matter of the wire.
fn sentence(lines: &[String]) -> String {
    let text = lines.join(" ").replace("[`", "`").replace("`]", "`").replace('|', "/");
    text.split(" Default ").next().unwrap_or_default().to_owned()
}
