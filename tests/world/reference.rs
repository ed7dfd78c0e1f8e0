//! Reads columns of the world's reference data.

use vanebench_checks::reference_dir;

/// One column of a reference file, by its heading.
#[track_caller]
pub(crate) fn column(file: &str, heading: &str) -> Vec<f64> {
    let path = reference_dir().join("world").join(file);
    let mut reader = csv::Reader::from_path(&path).expect("reference file");
    let index = reader.headers().unwrap().iter().position(|name| name == heading).expect("heading");
    reader.records().map(|record| record.unwrap()[index].parse().unwrap()).collect()
}
