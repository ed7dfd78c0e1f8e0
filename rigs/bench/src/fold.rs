//! Text folded to the reader's terminal: paragraphs and tables.
//!
//! In: text, rows, a [`Fold`]. Out: lines of no more columns than that. A word is never cut: one that is longer than
//! the width, such as a path, keeps a line to itself. A command folds so that a shell takes it back as one.

use std::env;
use std::io::IsTerminal;

use comfy_table::{ColumnConstraint, ContentArrangement, Table, Width, presets};
use textwrap::{Options, WordSeparator, WordSplitter};

/// How text is folded: columns that a line may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Fold(u16);

/// Space between two columns of a table.
const GAP: u16 = 2;
/// Indent of what belongs to the line above.
const INDENT: &str = "  ";
/// How a command begins that a person may copy.
const COMMAND: &str = "vanebench ";
/// What tells a shell that a command goes on.
const GOES_ON: &str = " \\";
/// What stays on one line: a value with its uncertainty and its per cent, the slash with what it follows.
const HELD_TOGETHER: [(&str, &str); 3] = [(" ± ", "\u{a0}±\u{a0}"), (" %", "\u{a0}%"), (" / ", "\u{a0}/ ")];

impl Fold {
    /// What standard texts are written for, and what a reader that is no terminal gets.
    pub(crate) const USUAL: Self = Self(80);
    /// Narrower than this no table of figures can be read.
    const LEAST: u16 = 40;

    /// `COLUMNS` where it is set, else the terminal's own width; never wider than usual.
    #[must_use]
    pub(crate) fn of_the_reader() -> Self {
        Self::of(stated_columns().or_else(|| terminal_size::terminal_size().map(|(columns, _)| columns.0)))
    }

    /// The same where `COLUMNS` is set or the stream is a terminal; nothing elsewhere: whoever reads from a pipe looks
    /// for whole sentences.
    #[must_use]
    pub(crate) fn where_stated(stream: &impl IsTerminal) -> Option<Self> {
        (stated_columns().is_some() || stream.is_terminal()).then(Self::of_the_reader)
    }

    fn of(columns: Option<u16>) -> Self {
        Self(columns.unwrap_or(Self::USUAL.0).clamp(Self::LEAST, Self::USUAL.0))
    }

    /// A text, each of its lines folded; what runs on is indented.
    #[must_use]
    pub(crate) fn paragraph(self, text: &str) -> String {
        loose(&text.split('\n').map(|line| self.line(line)).collect::<Vec<_>>().join("\n"))
    }

    fn line(self, line: &str) -> String {
        let own = line.len() - line.trim_start().len();
        let is_command = line.trim_start().starts_with(COMMAND);
        let goes_on = if is_command { GOES_ON } else { "" };
        let fits = textwrap::core::display_width(line.trim_end()) <= usize::from(self.0);
        if fits || !held(line.trim()).contains(' ') {
            return line.trim_end().to_owned();
        }
        let options = Options::new(usize::from(self.0) - goes_on.len())
            .word_separator(WordSeparator::AsciiSpace)
            .word_splitter(WordSplitter::NoHyphenation)
            .break_words(false);
        let further = if own > 0 || is_command { " ".repeat(own) + INDENT } else { String::new() };
        let line = held(line);
        let folded = textwrap::wrap(&line, options.subsequent_indent(&further));
        folded.join(&format!("{goes_on}\n"))
    }

    /// Rows, head first, in columns that line up; where the columns cannot stand side by side, row by row with the
    /// heads repeated.
    #[must_use]
    pub(crate) fn table(self, rows: &[Vec<String>]) -> String {
        let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
        let least: Vec<u16> = (0..columns).map(|column| longest_word(rows, column).max(1)).collect();
        if least.iter().map(|width| width + GAP).sum::<u16>() > self.0 + GAP {
            return self.listed(rows);
        }
        let mut table = Table::new();
        table.load_style(presets::NOTHING);
        table.set_content_arrangement(ContentArrangement::Dynamic).set_width(self.0);
        table.add_rows(rows.iter().map(|row| row.iter().map(|cell| held(cell.trim()))));
        for (column, width) in table.column_iter_mut().zip(least) {
            let gap = if column.index + 1 == columns { 0 } else { GAP };
            column.set_padding((0, gap));
            column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(width + gap)));
        }
        loose(&table.trim_fmt())
    }

    /// Words that stay on one line where they are short.
    fn together(self, words: &str) -> String {
        let is_short = textwrap::core::display_width(words) <= usize::from(self.0 / 2);
        if is_short { words.replace(' ', "\u{a0}") } else { words.to_owned() }
    }

    fn listed(self, rows: &[Vec<String>]) -> String {
        let Some((head, rows)) = rows.split_first() else { return String::new() };
        let block = |row: &Vec<String>| {
            let named = head
                .iter()
                .zip(row)
                .skip(1)
                .map(|(head, cell)| self.together(format!("{head} {cell}").trim()));
            let first = row.first().map_or("", String::as_str);
            let rest = named.filter(|words| !words.is_empty()).collect::<Vec<_>>().join("; ");
            self.paragraph(&format!("{first}\n{INDENT}{rest}"))
        };
        let head = self.paragraph(&format!("{}:", head.first().map_or("", String::as_str)));
        std::iter::once(head).chain(rows.iter().map(block)).collect::<Vec<_>>().join("\n")
    }
}

fn stated_columns() -> Option<u16> {
    env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok())
}

fn held(text: &str) -> String {
    HELD_TOGETHER.iter().fold(text.to_owned(), |text, (loose, tight)| text.replace(loose, tight))
}

fn loose(text: &str) -> String {
    text.replace('\u{a0}', " ")
}

fn longest_word(rows: &[Vec<String>], column: usize) -> u16 {
    let cells = rows.iter().filter_map(|row| row.get(column)).map(|cell| held(cell));
    let width = |cell: String| cell.split(' ').map(textwrap::core::display_width).max().unwrap_or(0);
    cells.map(width).max().unwrap_or(0).try_into().unwrap_or(u16::MAX / 64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn widths(text: &str) -> impl Iterator<Item = (usize, &str)> {
        text.lines().map(|line| (textwrap::core::display_width(line), line))
    }

    fn rows<const N: usize>(rows: &[[&str; N]]) -> Vec<Vec<String>> {
        rows.iter().map(|row| row.map(String::from).to_vec()).collect()
    }

    #[test]
    fn columns_line_up_and_long_cells_fold_beside_their_row() {
        let short = rows(&[["a", "b"], ["long", "c"]]);
        assert_eq!(Fold::USUAL.table(&short), "a     b\nlong  c");
        let words = "one two three four five six seven eight nine ten";
        assert_eq!(
            Fold(40).table(&rows(&[["what", "words"], ["numbers", words]])),
            "what     words\nnumbers  one two three four five six\n         seven eight nine ten"
        );
    }

    #[test]
    fn a_table_of_more_columns_than_fit_is_told_row_by_row() {
        let wide = rows(&[["load"; 9], ["123456789"; 9]]);
        let told = Fold(40).table(&wide);
        assert!(told.starts_with("load:\n123456789\n  load 123456789; load"), "{told}");
        assert!(widths(&told).all(|(width, _)| width <= 40), "{told}");
    }

    #[test]
    fn a_value_keeps_its_uncertainty_and_its_per_cent() {
        let told = Fold(40).paragraph("the margin above surge at full load is 49 ± 13 % and so on");
        assert!(told.contains("49 ± 13 %"), "{told}");
    }

    #[test]
    fn a_folded_command_is_one_command_to_a_shell() {
        let command = "  vanebench learn --port /dev/ttyUSB0 --unit u1 --profile a.toml";
        let told = Fold(40).paragraph(command);
        assert_eq!(told, "  vanebench learn --port /dev/ttyUSB0 \\\n    --unit u1 --profile a.toml");
    }

    #[test]
    fn a_reader_that_says_nothing_gets_eighty_columns() {
        for (stated, columns) in [(None, 80), (Some(60), 60), (Some(200), 80), (Some(3), 40)] {
            assert_eq!(Fold::of(stated), Fold(columns));
        }
    }

    proptest! {
        #[test]
        fn no_line_is_too_long_and_no_word_is_cut(
            words in proptest::collection::vec("[a-z0-9][a-z0-9±°²/%-]{0,29}", 1..60), columns in 40_u16..=80,
        ) {
            let text = words.join(" ");
            let told = Fold(columns).paragraph(&text);
            prop_assert!(widths(&told).all(|(width, line)| {
                width <= usize::from(columns) || !held(line.trim()).contains(' ')
            }), "{}", told);
            prop_assert_eq!(told.split_whitespace().collect::<Vec<_>>(), text.split_whitespace().collect::<Vec<_>>());
        }

        #[test]
        fn no_row_is_too_wide_and_no_word_of_a_cell_is_cut(
            table in proptest::collection::vec(proptest::collection::vec("([a-z0-9]{1,20} ){0,6}", 4), 2..6),
            columns in 40_u16..=80,
        ) {
            let told = Fold(columns).table(&table);
            prop_assert!(widths(&told).all(|(width, _)| width <= usize::from(columns)), "{}", told);
            for word in table.iter().flatten().flat_map(|cell| cell.split_whitespace()) {
                prop_assert!(told.split_whitespace().any(|told| told.trim_end_matches([';', ':']) == word), "{} in {}", word, told);
            }
        }
    }
}
