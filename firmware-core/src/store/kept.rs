//! What is kept over power loss, and how it is laid out in a record.
//!
//! A record holds the number of settings sections, 0 or all; the sections in the order in which they are sent; then
//! for each setup a byte 0, or 1 and what is held. Pieces are those of the link, so that both share their code.

use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};

use super::result::StoreFault;
use super::sector::Placed;
use super::slot::{Foot, SlotReader, Writer};
use crate::calibration::Setup;
use crate::held::Held;
use crate::settings::{SECTIONS, Settings, SettingsSection};

/// Version of a record's layout; raised whenever [`Kept`] or anything in it changes. Layout 1 was another journal with
/// a record for each setup: nothing of it can be read here, and its pages are erased at the first start.
pub const LAYOUT_VERSION: u8 = 5;

/// Everything that is kept, saved as one record: a calibration never meets settings that it was not kept with.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kept {
    /// All settings, once the board has been given all of them.
    pub settings: Option<Settings>,
    /// What is held for each setup: free, attached, on the engine.
    pub held: [Option<Held>; 3],
}

impl Kept {
    /// Nothing.
    pub const NOTHING: Self = Self { settings: None, held: [None; 3] };

    pub(super) fn write<F: NorFlash>(
        &self,
        mut writer: Writer<'_, F>,
        number: u32,
    ) -> Result<Foot, StoreFault> {
        writer.put(&self.settings.map_or(0, |_| SECTIONS))?;
        for section in self.settings.iter().flat_map(Settings::sections) {
            writer.put(&section)?;
        }
        for held in &self.held {
            writer.put(held)?;
        }
        writer.finish(number, LAYOUT_VERSION)
    }

    /// A whole record in the layout of this build, read into place: it is larger than a small stack likes.
    fn read<F: ReadNorFlash>(&mut self, reader: &mut SlotReader<'_, F>) -> Option<()> {
        match reader.take::<u8>()? {
            0 => {}
            SECTIONS => read_settings(self.settings.insert(Settings::BLANK), reader)?,
            _ => return None,
        }
        for (held, setup) in self.held.iter_mut().zip([Setup::Free, Setup::Attached, Setup::OnEngine]) {
            *held = reader.take::<Option<Held>>()?;
            if held.is_some_and(|held| held.calibration.setup != setup) {
                return None;
            }
        }
        reader.is_done().then_some(())
    }
}

fn read_settings<F: ReadNorFlash>(settings: &mut Settings, reader: &mut SlotReader<'_, F>) -> Option<()> {
    for _ in 0..SECTIONS {
        // Checked field by field, as when it came over the link.
        settings.apply(&reader.take::<SettingsSection>()?).ok()?;
    }
    Some(())
}

/// What the newest whole record says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FoundRecord {
    /// No whole record.
    Nothing,
    /// What was kept last.
    Kept,
    /// The record is of a layout that this build does not read. It stays until the next save.
    OtherLayout {
        /// Layout found.
        found: u8,
        /// Layout that this build reads.
        known: u8,
    },
    /// The record is whole, but a value in it is not allowed in this build.
    NotAllowed,
}

impl FoundRecord {
    /// Reads a whole record. A build that changes the layout adds an arm here for each older layout that it can still
    /// read.
    pub(super) fn read<F: ReadNorFlash>(flash: &mut F, record: &Placed, into: &mut Kept) -> Self {
        match record.foot.layout {
            LAYOUT_VERSION => {
                let mut reader = SlotReader::new(flash, record.start, &record.foot);
                if into.read(&mut reader).is_some() {
                    return Self::Kept;
                }
                *into = Kept::NOTHING;
                Self::NotAllowed
            }
            found => Self::OtherLayout { found, known: LAYOUT_VERSION },
        }
    }
}
