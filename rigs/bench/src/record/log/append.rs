//! Writes a line behind the others.

use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;

use super::entry::{ChainedLine, Entry};
use super::{LOG_FILE, LOG_LIMIT, UnitLog, whole_length};
use crate::record::{RUN_FILE, RecordError, hashes, runs_in};

/// Puts an entry behind those that are there, on disk before it returns; a new log begins by naming the runs of before.
pub(in crate::record) fn append(unit_dir: &Path, unit: &str, entry: Entry) -> Result<(), RecordError> {
    let path = unit_dir.join(LOG_FILE);
    let refused = || RecordError::io(&path, "could not be written");
    let mut file = opened(&path).map_err(refused())?;
    let mut bytes = Vec::new();
    (&file).take(LOG_LIMIT).read_to_end(&mut bytes).map_err(refused())?;
    let whole = whole_length(&bytes);
    bytes.truncate(whole);
    file.set_len(whole as u64).map_err(refused())?;
    let mut log = UnitLog::of(&bytes);
    let was_broken = log.broken.is_some();
    let mut text = Vec::new();
    if log.head.entries == 0 {
        let earlier = earlier(unit_dir)?;
        let confirmed = hashes::confirmed(unit_dir)?;
        let begun = Entry::Begun { unit: unit.to_owned(), earlier, confirmed };
        add(&mut log, &mut text, begun).map_err(refused())?;
    }
    add(&mut log, &mut text, entry).map_err(refused())?;
    if log.broken.is_some() && !was_broken {
        let contradicts = io::Error::other("the entry contradicts an earlier one");
        return Err(refused()(contradicts));
    }
    file.write_all(&text).and_then(|()| file.sync_data()).map_err(refused())
}

fn add(log: &mut UnitLog, text: &mut Vec<u8>, says: Entry) -> io::Result<()> {
    let line = ChainedLine { entry: log.head.entries + 1, before: log.head.sha256.clone(), says };
    let line = serde_json::to_vec(&line)?;
    log.take(&line);
    text.extend(line);
    text.push(b'\n');
    Ok(())
}

/// The file, for this program alone where the file system can say so.
fn opened(path: &Path) -> io::Result<File> {
    let file = OpenOptions::new().read(true).append(true).create(true).open(path)?;
    match file.lock() {
        Err(error) if error.kind() != ErrorKind::Unsupported => Err(error),
        Err(_) | Ok(()) => Ok(file),
    }
}

/// Runs of before the log. A folder without its record is another program's that is about to begin.
fn earlier(unit_dir: &Path) -> Result<BTreeMap<String, crate::record::Sha256Hex>, RecordError> {
    let runs = runs_in(unit_dir)?.into_iter().filter(|(_, dir)| dir.join(RUN_FILE).exists());
    runs.map(|(name, dir)| Ok((name.to_string(), hashes::whole(&dir)?))).collect()
}
