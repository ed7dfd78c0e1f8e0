//! A number in a table, with no more digits than it has meaning.

/// A value rounded to a step, in groups of three from 10 000 up.
pub(super) fn shown_to(value: f64, step: f64) -> String {
    // A step of 0.2 shows one decimal, a step of 10 none; adding zero takes the sign off a zero.
    let decimals = (-(step.log10() + 1e-9).floor()).max(0.0) as usize;
    grouped(&format!("{:.decimals$}", (value / step).round() * step + 0.0))
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
    use super::shown_to;

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
}
