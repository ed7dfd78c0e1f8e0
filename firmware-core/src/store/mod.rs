//! Keeps calibrations over power loss: one record per setup, in two mirrored maps.
//!
//! In: a record and a flash that can be erased by pages. Out: the newest whole record of a setup, or none.
//! Power lost at any write or erase leaves the old record or the new one, never a mixture. Refuses a flash
//! range that is no four pages, and records of another layout version.
//!
//! Each map (crate sequential-storage, two pages) appends, checks every item by CRC and repairs itself, with
//! one gap that the power-cut test found: an erase broken off so that a page loses items but keeps its
//! markers passes for an unfinished move, and the good copy is erased. Hence the mirror: the second map is
//! touched only after the first holds everything, so no single cut can reach both copies.
//!
//! The flash must allow a word to be programmed once between erases and all its bits to be cleared once
//! more: the map's page markers are zeros, and after a cut a half-written one is written again. Writing
//! stalls the processor for milliseconds, so the board calls this outside the tick and only at duty 0.

mod record;
mod result;

pub use record::LAYOUT_VERSION;
pub use result::{StoreFault, StoreResult};

use core::ops::Range;

use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};

use crate::calibration::Setup;
use crate::held::Held;
use record::Stored;

/// Room for the largest record and its key (147) and padding to the widest flash word (32), bytes.
const BUFFER_BYTES: usize = 192;

/// Buffer that the flash driver reads into; some need it aligned to their word.
#[repr(align(32))]
struct Buffer([u8; BUFFER_BYTES]);

type NoCache = Cache<Uncached, Uncached, Uncached, u8>;

/// Why a record could not be kept or read.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StoreError {
    /// The flash range cannot hold the map: whole pages, an even number, at least four.
    Range,
    /// The record was written by another layout version.
    OtherVersion {
        /// Version found.
        found: u8,
        /// Version that this build reads.
        known: u8,
    },
    /// The flash refused to read, write or erase, or its contents cannot be repaired.
    Flash,
    /// The record does not decode, although its check is right.
    Record,
}

/// The store.
pub struct Store<F: NorFlash> {
    flash: F,
    first: Range<u32>,
    second: Range<u32>,
}

/// One of the two mirrored maps.
#[derive(Clone, Copy, PartialEq)]
enum Mirror {
    First,
    Second,
}

/// A record with the number of its save.
type Numbered = (u32, Held);

impl<F: NorFlash> Store<F> {
    /// Opens the store in a range of whole pages, an even number and at least four; nothing is read or
    /// written yet.
    ///
    /// # Errors
    /// [`StoreError::Range`] when the range does not hold two maps.
    pub fn try_new(flash: F, range: Range<u32>) -> Result<Self, StoreError> {
        let half = range.end.checked_sub(range.start).ok_or(StoreError::Range)? / 2;
        let middle = range.start.checked_add(half).ok_or(StoreError::Range)?;
        let (first, second) = (range.start..middle, middle..range.end);
        for part in [&first, &second] {
            let _: MapConfig<F> = config(part)?;
        }
        Ok(Self { flash, first, second })
    }

    /// The newest whole record of a setup.
    ///
    /// # Errors
    /// [`StoreError`] says whether flash or record is at fault; only when both copies are.
    pub async fn load(&mut self, setup: Setup) -> Result<Option<Held>, StoreError> {
        let first = self.read(Mirror::First, setup).await;
        let second = self.read(Mirror::Second, setup).await;
        match (first, second) {
            (Ok(first), Ok(second)) => Ok(newer(&first, &second).map(|(_, record)| *record)),
            (Ok(Some((_, record))), Err(_)) | (Err(_), Ok(Some((_, record)))) => Ok(Some(record)),
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
    }

    /// Writes a record under its own setup, after making both copies whole.
    ///
    /// # Errors
    /// [`StoreError`]; the old record is then still there.
    pub async fn save(&mut self, record: &Held) -> Result<(), StoreError> {
        self.heal(Mirror::First).await?;
        self.heal(Mirror::Second).await?;
        let setup = record.calibration.setup;
        let last = self.replaceable(Mirror::First, setup).await?.map_or(0, |(number, _)| number);
        let numbered = (last.saturating_add(1), *record);
        self.write(Mirror::First, &numbered).await?;
        self.write(Mirror::Second, &numbered).await
    }

    /// Gives the flash back.
    #[must_use]
    pub fn into_flash(self) -> F {
        self.flash
    }

    /// Brings every record of a copy up to the newest of both.
    async fn heal(&mut self, copy: Mirror) -> Result<(), StoreError> {
        for setup in [Setup::Free, Setup::Attached, Setup::OnEngine] {
            let first = self.replaceable(Mirror::First, setup).await?;
            let second = self.replaceable(Mirror::Second, setup).await?;
            let own = if copy == Mirror::First { &first } else { &second };
            match newer(&first, &second) {
                Some(newest) if Some(newest) != own.as_ref() => self.write(copy, newest).await?,
                Some(_) | None => {}
            }
        }
        Ok(())
    }

    /// What a save starts from: a record that this build cannot read counts as none and may be replaced.
    async fn replaceable(&mut self, copy: Mirror, setup: Setup) -> Result<Option<Numbered>, StoreError> {
        match self.read(copy, setup).await {
            Err(StoreError::OtherVersion { .. } | StoreError::Record) => Ok(None),
            other => other,
        }
    }

    async fn read(&mut self, copy: Mirror, setup: Setup) -> Result<Option<Numbered>, StoreError> {
        let mut buffer = Buffer([0; BUFFER_BYTES]);
        match self.map(copy)?.fetch_item::<Stored>(&mut buffer.0, &key(setup)).await {
            Ok(None) => Ok(None),
            Ok(Some(Stored::Known { number, record })) => Ok(Some((number, record))),
            Ok(Some(Stored::Other { version })) => {
                Err(StoreError::OtherVersion { found: version, known: LAYOUT_VERSION })
            }
            Err(error) => Err(of(&error)),
        }
    }

    async fn write(&mut self, copy: Mirror, (number, record): &Numbered) -> Result<(), StoreError> {
        let mut buffer = Buffer([0; BUFFER_BYTES]);
        let key = key(record.calibration.setup);
        let stored = Stored::Known { number: *number, record: *record };
        self.map(copy)?.store_item(&mut buffer.0, &key, &stored).await.map_err(|error| of(&error))
    }

    fn map(&mut self, copy: Mirror) -> Result<MapStorage<u8, &mut F, NoCache>, StoreError> {
        let range = match copy {
            Mirror::First => &self.first,
            Mirror::Second => &self.second,
        };
        let config = config(range)?;
        Ok(MapStorage::new(&mut self.flash, config, Cache::new_uncached()))
    }
}

fn config<F: NorFlash>(range: &Range<u32>) -> Result<MapConfig<F>, StoreError> {
    MapConfig::try_new(range.clone()).map_err(|_| StoreError::Range)
}

/// By reference: a record is large, and the stack of a board is not.
fn newer<'a>(one: &'a Option<Numbered>, other: &'a Option<Numbered>) -> Option<&'a Numbered> {
    match (one, other) {
        (Some(one), Some(other)) => Some(if other.0 > one.0 { other } else { one }),
        (one, other) => one.as_ref().or(other.as_ref()),
    }
}

fn key(setup: Setup) -> u8 {
    match setup {
        Setup::Free => 1,
        Setup::Attached => 2,
        Setup::OnEngine => 3,
    }
}

fn of<E>(error: &sequential_storage::Error<E>) -> StoreError {
    match error {
        sequential_storage::Error::SerializationError(_) => StoreError::Record,
        _ => StoreError::Flash,
    }
}
