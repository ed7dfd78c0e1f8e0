//! Numbers as people read them: every rule of rounding that the tool has.
//!
//! In: values. Out: text with no more digits than mean something. Machines get the values themselves.

/// A value with so many digits after the point.
#[must_use]
pub(crate) fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    // A rounded negative zero reads as a sign that means nothing.
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        Some(_) | None => text,
    }
}

/// A number with four significant digits, never in exponents unless it must be.
#[must_use]
pub(crate) fn number(value: f64) -> String {
    let size = value.abs();
    if !value.is_finite() {
        "–".into()
    } else if size != 0.0 && size < 1e-3 {
        format!("{value:.3e}")
    } else if size >= 1000.0 {
        format!("{value:.0}")
    } else if size >= 100.0 {
        format!("{value:.1}")
    } else if size >= 10.0 {
        format!("{value:.2}")
    } else if size >= 1.0 || size == 0.0 {
        format!("{value:.3}")
    } else {
        format!("{value:.4}")
    }
}

/// A share in per cent; one too small to matter is not given in digits.
#[must_use]
pub(crate) fn percent(value: f64) -> String {
    const LEAST: f64 = 0.01;
    if value < LEAST { format!("under {LEAST} %") } else { format!("{} %", number(value)) }
}

/// A value and its uncertainty: two significant digits of the uncertainty, the value to the same place
/// (GUM 7.2.6).
#[must_use]
pub(crate) fn with_uncertainty(value: f64, uncertainty: f64) -> String {
    const SMALLEST_IN_FULL: f64 = 1e-3;
    if !(value.is_finite() && uncertainty.is_finite()) || uncertainty <= 0.0 {
        return format!("{} ± {}", number(value), number(uncertainty));
    }
    if uncertainty < SMALLEST_IN_FULL && value.abs() < SMALLEST_IN_FULL {
        return format!("{value:.2e} ± {uncertainty:.1e}");
    }
    let place = uncertainty.log10().floor() as i32 - 1;
    let decimals = (-place).max(0) as usize;
    let step = 10.0_f64.powi(place);
    let rounded = |number: f64| (number / step).round() * step;
    format!("{:.decimals$} ± {:.decimals$}", rounded(value), rounded(uncertainty))
}

/// A value rounded to a step, in groups of three from 10 000 up.
#[must_use]
pub(crate) fn shown_to(value: f64, step: f64) -> String {
    grouped(&in_steps((value / step).round(), step))
}

/// So many steps as a value, for machines.
#[must_use]
pub(crate) fn in_steps(steps: f64, step: f64) -> String {
    // A step of 0.2 shows one decimal, a step of 10 none.
    let decimals = (-(step.log10() + 1e-9).floor()).max(0.0) as usize;
    fixed(steps * step, decimals)
}

fn grouped(number: &str) -> String {
    const GROUPED_FROM: usize = 5;
    let whole_end = number.find('.').unwrap_or(number.len());
    let (whole, rest) = number.split_at(whole_end);
    let digits = whole.trim_start_matches('-').len();
    if digits < GROUPED_FROM {
        return number.to_owned();
    }
    let mut out = String::with_capacity(number.len() + digits / 3);
    for (at, letter) in whole.chars().enumerate() {
        if at > 0 && (whole.len() - at) % 3 == 0 && letter.is_ascii_digit() && !out.ends_with('-') {
            out.push(' ');
        }
        out.push(letter);
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::{number, shown_to, with_uncertainty};

    #[test]
    fn a_number_has_the_digits_of_its_step() {
        let cases = [
            (111_858.677, 10.0, "111 860"),
            (-111_858.677, 10.0, "-111 860"),
            (105.000_4, 0.1, "105.0"),
            (1.234, 0.01, "1.23"),
            (-0.000_1, 0.01, "0.00"),
            (9_999.4, 1.0, "9999"),
            (12_345.6, 0.1, "12 345.6"),
            (1_049.0, 100.0, "1000"),
        ];
        for (value, step, text) in cases {
            assert_eq!(shown_to(value, step), text);
        }
    }

    #[test]
    fn an_uncertainty_has_two_digits_and_its_value_ends_at_the_same_place() {
        let cases = [
            ((94.291_77, 27.123), "94 ± 27"),
            ((57.76, 0.142_3), "57.76 ± 0.14"),
            ((12_345.6, 234.5), "12350 ± 230"),
            ((2.834e-5, 4.123e-6), "2.83e-5 ± 4.1e-6"),
            ((5.0, 0.0), "5.000 ± 0.000"),
        ];
        for ((value, uncertainty), text) in cases {
            assert_eq!(with_uncertainty(value, uncertainty), text);
        }
    }

    #[test]
    fn numbers_keep_four_digits() {
        let cases =
            [(0.0, "0.000"), (57.76, "57.76"), (0.0524, "0.0524"), (2.8e-5, "2.800e-5"), (-123.45, "-123.5")];
        for (value, text) in cases {
            assert_eq!(number(value), text);
        }
        assert_eq!(number(f64::NAN), "–");
    }
}
