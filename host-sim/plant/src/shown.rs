//! Foreign text made fit to be shown: short, and without characters that a terminal obeys.

/// Most characters of a field, a name or an argument that a message repeats.
pub const MOST_SHOWN: usize = 80;

/// The first line of a text, at most [`MOST_SHOWN`] characters of it.
#[must_use]
pub fn brief(text: &str) -> String {
    shortened(text.lines().next().unwrap_or_default().trim(), MOST_SHOWN)
}

/// The first line of a parser's message: what it quotes is cut to [`MOST_SHOWN`] characters each.
#[must_use]
pub fn brief_message(text: &str) -> String {
    /// Long enough for the list of all fields of a table, which is what helps.
    const LONGEST: usize = 600;
    let mut out = String::new();
    let mut quote = None;
    let mut run = 0;
    for c in text.lines().next().unwrap_or_default().trim().chars() {
        match quote {
            Some(open) if c == open => quote = None,
            None if matches!(c, '`' | '"') => (quote, run) = (Some(c), 0),
            Some(_) | None => run += 1,
        }
        if quote.is_none() || run <= MOST_SHOWN {
            out.push(c);
        } else if run == MOST_SHOWN + 1 {
            out.push('…');
        }
    }
    shortened(&out, LONGEST)
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().nth(most).is_none() {
        return text.to_owned();
    }
    text.chars().take(most).chain(['…']).collect()
}

/// A number in as many digits as it was meant with, an absurd one as a power of ten.
#[must_use]
pub fn number(value: f64) -> String {
    /// From here on not every whole number is a double: more digits would be invented.
    const DIGITS_END: f64 = 1e16;
    if value.abs() < DIGITS_END { value.to_string() } else { format!("{value:e}") }
}

/// The text with every character that a terminal would obey or not show, line breaks aside, written as its code.
#[must_use]
pub fn printable(text: &str) -> String {
    // Rust's own escapes would change these as well, and a reader would ask why.
    const PLAIN: [char; 4] = ['\n', '"', '\'', '\\'];
    let mut out = String::with_capacity(text.len());
    for piece in text.split_inclusive(PLAIN) {
        let body = piece.trim_end_matches(PLAIN);
        out.extend(body.escape_debug());
        out.push_str(&piece[body.len()..]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn letters_of_any_script_quotes_and_lines_stay_and_orders_to_a_terminal_do_not() {
        let plain = "Gerät 7: \"ré\" `C:\\x`\nहिन्दी 東京 µ² –";
        assert_eq!(printable(plain), plain);
        assert_eq!(printable("a\u{1b}[2J\u{7}\r\u{9b}m\u{202e}b"), "a\\u{1b}[2J\\u{7}\\r\\u{9b}m\\u{202e}b");
    }

    #[test]
    fn a_long_field_is_cut_and_the_list_of_what_is_allowed_is_not() {
        assert_eq!(brief(&"x".repeat(81)), format!("{}…", "x".repeat(80)));
        let message = format!("unknown field `{}`, expected `a` or `b`", "x".repeat(600_000));
        assert_eq!(
            brief_message(&message),
            format!("unknown field `{}…`, expected `a` or `b`", "x".repeat(80))
        );
    }

    proptest! {
        #[test]
        fn nothing_shown_holds_a_control_character(text in any::<String>()) {
            prop_assert!(!printable(&text).chars().any(|c| c.is_control() && c != '\n'));
            prop_assert!(brief(&text).chars().count() <= MOST_SHOWN + 1);
        }
    }
}
