//! Traces of a simulated run: any number of columns with name and unit, one row per instant.

use std::path::Path;

use plant::files::{bytes_of, write_whole};

use super::{RecordError, SERIES_LIMIT};

/// Column of the guard's limit; the report draws it as a level.
pub(crate) const GUARD_LIMIT: &str = "guard limit";

/// One trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name, `boost`.
    pub name: String,
    /// Unit, `kPa absolute`.
    pub unit: String,
    /// Values, one per instant; `NaN` where there is none.
    pub values: Vec<f64>,
}

/// Columns of equal length; the first is time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// The traces.
    pub columns: Vec<Column>,
}

impl Series {
    /// The column of that name.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|column| column.name == name)
    }

    /// `(time, value)` of the named column, without the instants that have none.
    #[must_use]
    pub fn against_time(&self, name: &str) -> Vec<(f64, f64)> {
        let (Some(time), Some(column)) = (self.columns.first(), self.column(name)) else {
            return Vec::new();
        };
        let pairs = time.values.iter().copied().zip(column.values.iter().copied());
        pairs.filter(|(t, v)| t.is_finite() && v.is_finite()).collect()
    }

    pub(super) fn to_csv(&self) -> Result<Vec<u8>, csv::Error> {
        let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        writer.write_record(self.columns.iter().map(|c| format!("{} [{}]", c.name, c.unit)))?;
        let rows = self.columns.iter().map(|c| c.values.len()).min().unwrap_or(0);
        for row in 0..rows {
            let field = |c: &Column| match c.values.get(row) {
                Some(value) if value.is_finite() => value.to_string(),
                _ => String::new(),
            };
            writer.write_record(self.columns.iter().map(field))?;
        }
        writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
    }

    /// Writes the file whole.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn write(&self, path: &Path) -> Result<(), RecordError> {
        let bytes = self
            .to_csv()
            .map_err(|error| RecordError::io(path, "could not be written")(std::io::Error::other(error)))?;
        Ok(write_whole(path, &bytes)?)
    }

    /// Reads the file.
    ///
    /// # Errors
    /// On a header without a unit, a ragged row or a field that is no number.
    pub fn read(path: &Path) -> Result<Self, RecordError> {
        let bytes = bytes_of(path, SERIES_LIMIT).map_err(RecordError::unread(path))?;
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let header = reader.headers().map_err(|error| unreadable(path, error))?.clone();
        let mut columns = header
            .iter()
            .map(|title| title.strip_suffix(']').and_then(|t| t.split_once(" [")))
            .map(|split| split.map(|(name, unit)| (name.to_owned(), unit.to_owned())))
            .map(|split| split.map(|(name, unit)| Column { name, unit, values: Vec::new() }))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| {
                bad(path, 1, header.iter().collect::<Vec<_>>().join(","), "allowed: name [unit]")
            })?;
        for (record, line) in reader.records().zip(2..) {
            let record = record.map_err(|error| unreadable(path, error))?;
            for (column, field) in columns.iter_mut().zip(record.iter()) {
                let value = if field.is_empty() { Ok(f64::NAN) } else { field.parse() };
                column.values.push(value.map_err(|_| bad(path, line, field.into(), "allowed: a number"))?);
            }
        }
        Ok(Self { columns })
    }
}

fn unreadable(path: &Path, error: csv::Error) -> RecordError {
    RecordError::io(path, "could not be read")(std::io::Error::other(error))
}

fn bad(path: &Path, line: u64, seen: String, allowed: &'static str) -> RecordError {
    RecordError::bad_line(path, line, "column", &seen, allowed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_series_reads_back_with_names_units_and_gaps() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("series.csv");
        let column = |name: &str, unit: &str, values: &[f64]| Column {
            name: name.into(),
            unit: unit.into(),
            values: values.to_vec(),
        };
        let series = Series {
            columns: vec![
                column("time", "s", &[0.0, 0.1, 0.2]),
                column("boost", "kPa", &[101.3, f64::NAN, 0.1 + 0.2]),
            ],
        };
        series.write(&path).unwrap();
        let back = Series::read(&path).unwrap();
        assert_eq!(back.against_time("boost"), [(0.0, 101.3), (0.2, 0.1 + 0.2)]);
        assert_eq!(back.column("boost").unwrap().unit, "kPa");
    }
}
