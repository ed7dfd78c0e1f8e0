//! The board's log in words.
//!
//! In: the image that logs, and the file that the emulator writes the frames to. Out: lines with time, level and
//! place, and how many frames were lost on the way. Refused: an image without a log.
//!
//! Frames are defmt's: the words stay in the image, only numbers cross the port.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use defmt_decoder::{DecodeError, Locations, StreamDecoder, Table};

/// Why the log cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum LogError {
    /// The image or the log file.
    #[error("{}: {error}", path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// The image has no log in it.
    #[error("{}: this image does not log; build it with the feature \"log\"", .0.display())]
    Silent(PathBuf),
    /// The image's log was written by another version of defmt.
    #[error("{}: {reason}; build image and tool from the same sources", image.display())]
    OtherVersion {
        /// The image.
        image: PathBuf,
        /// What the decoder says.
        reason: String,
    },
}

/// One line of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogLine {
    /// Board time, as the image formats it; empty where the frame has none.
    pub time: String,
    /// `error` … `trace`; empty for a plain line.
    pub level: String,
    /// The words.
    pub text: String,
    /// File and line, where the image was built with debug information.
    pub place: Option<String>,
}

impl std::fmt::Display for LogLine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {:5} {}", self.time, self.level, self.text)?;
        match &self.place {
            Some(place) => write!(f, " ({place})"),
            None => Ok(()),
        }
    }
}

/// What words the image's frames stand for.
#[derive(Debug)]
pub struct LogTable {
    table: Table,
    places: Option<Locations>,
}

impl LogTable {
    /// Reads the words out of an image.
    ///
    /// # Errors
    /// [`LogError`] names the file.
    pub fn of_image(image: &Path) -> Result<Self, LogError> {
        let elf = std::fs::read(image).map_err(|error| LogError::File { path: image.to_owned(), error })?;
        let other = |error: &dyn std::fmt::Display| LogError::OtherVersion {
            image: image.to_owned(),
            reason: error.to_string(),
        };
        let table = Table::parse(&elf).map_err(|error| other(&error))?;
        let table = table.ok_or_else(|| LogError::Silent(image.to_owned()))?;
        let places = table.get_locations(&elf).ok().filter(|places| !places.is_empty());
        Ok(Self { table, places })
    }

    /// Follows a log file from its beginning.
    ///
    /// # Errors
    /// [`LogError::File`].
    pub fn follow(&self, log: &Path) -> Result<LogFollower<'_>, LogError> {
        let file = File::open(log).map_err(|error| LogError::File { path: log.to_owned(), error })?;
        Ok(LogFollower {
            table: self,
            decoder: self.table.new_stream_decoder(),
            file,
            path: log.to_owned(),
            lost: 0,
        })
    }
}

/// Reads a log that still grows.
pub struct LogFollower<'t> {
    table: &'t LogTable,
    decoder: Box<dyn StreamDecoder + Send + Sync + 't>,
    file: File,
    path: PathBuf,
    lost: u64,
}

impl LogFollower<'_> {
    /// The lines that have come since the last call.
    ///
    /// # Errors
    /// [`LogError::File`].
    pub fn new_lines(&mut self) -> Result<Vec<LogLine>, LogError> {
        let mut bytes = Vec::new();
        self.file
            .read_to_end(&mut bytes)
            .map_err(|error| LogError::File { path: self.path.clone(), error })?;
        self.decoder.received(&bytes);
        let mut lines = Vec::new();
        loop {
            match self.decoder.decode() {
                Ok(frame) => {
                    let place = self.table.places.as_ref().and_then(|places| places.get(&frame.index()));
                    lines.push(LogLine {
                        time: frame.display_timestamp().map(|time| time.to_string()).unwrap_or_default(),
                        level: frame.level().map(|level| level.as_str().to_owned()).unwrap_or_default(),
                        text: frame.display_message().to_string(),
                        place: place.map(|place| format!("{}:{}", place.file.display(), place.line)),
                    });
                }
                Err(DecodeError::UnexpectedEof) => break,
                Err(DecodeError::Malformed) => self.lost += 1,
            }
        }
        self.lost += lines.iter().filter_map(|line| lost_on_board(&line.text)).sum::<u64>();
        Ok(lines)
    }

    /// Frames that did not arrive: those that the board dropped and owned up to, and those that came damaged.
    #[must_use]
    pub fn lost(&self) -> u64 {
        self.lost
    }
}

/// The image says `lost N frames` once it has room again.
fn lost_on_board(text: &str) -> Option<u64> {
    text.strip_prefix("lost ")?.strip_suffix(" frames")?.parse().ok()
}
