//! What is to be kept, on its way from the control end to the main loop: one sheet that goes to and fro, so that it is
//! copied once.

use firmware_core::store::Kept;
use heapless::spsc::{Consumer, Producer, Queue};

type Sheet = &'static mut Option<Kept>;

/// The way there and the way back.
pub struct SheetWays {
    there: Queue<Sheet, 2>,
    back: Queue<Sheet, 2>,
}

/// The control end's side: fills the sheet.
pub struct FillingHand {
    there: Producer<'static, Sheet>,
    back: Consumer<'static, Sheet>,
    /// Here, and nothing to fill it with.
    waiting: Option<Sheet>,
}

/// The main loop's side: saves what is on the sheet.
pub struct SavingHand {
    there: Consumer<'static, Sheet>,
    back: Producer<'static, Sheet>,
}

impl SheetWays {
    /// Without a sheet.
    #[must_use]
    pub const fn new() -> Self {
        Self { there: Queue::new(), back: Queue::new() }
    }

    /// The two hands, with the one sheet there is.
    pub fn split(&'static mut self, sheet: Sheet) -> (FillingHand, SavingHand) {
        let (fill, save) = self.there.split();
        let (blank, reuse) = self.back.split();
        let mut saving = SavingHand { there: save, back: blank };
        saving.give_back(sheet);
        (FillingHand { there: fill, back: reuse, waiting: None }, saving)
    }
}

impl Default for SheetWays {
    fn default() -> Self {
        Self::new()
    }
}

impl FillingHand {
    /// Hands over what `take_save` gives, while the sheet is here.
    #[inline]
    pub fn hand_over(&mut self, take_save: impl FnOnce() -> Option<Kept>) {
        let Some(sheet) = self.waiting.take().or_else(|| self.back.dequeue()) else { return };
        // Straight onto the sheet: a copy in between would be a quarter of the stack.
        *sheet = take_save();
        if sheet.is_some() {
            // There is room: the sheet is the only one.
            let _handed = self.there.enqueue(sheet);
        } else {
            self.waiting = Some(sheet);
        }
    }
}

impl SavingHand {
    /// A sheet that was handed over.
    pub fn take(&mut self) -> Option<Sheet> {
        self.there.dequeue()
    }

    /// Gives it back, to be filled again.
    pub fn give_back(&mut self, sheet: Sheet) {
        let _given = self.back.enqueue(sheet);
    }
}
