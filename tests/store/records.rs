//! Records that differ from each other in settings and calibrations, and fixed chance.

use firmware_core::calibration::{Calibration, Contact, LearnedStop, Setup, Warmth};
use firmware_core::held::{Held, Origin, OriginTag, Standing};
use firmware_core::learn::CheckSet;
use firmware_core::settings::Settings;
use firmware_core::store::Kept;
use firmware_core::units::{Celsius, Opening, Tick, Volt};

const SETUPS: [Setup; 3] = [Setup::Free, Setup::Attached, Setup::OnEngine];
/// Records that [`kept`] tells apart.
pub const DIFFERENT: u64 = 4096;

/// Record `number`: nowhere equal to another's, in its settings or in what is held for any setup.
pub fn kept(number: u64) -> Kept {
    let mut settings = Settings::DEFAULT;
    settings.limits.heat_time_s = 10.0 + (number % DIFFERENT) as f32 / 128.0;
    settings.guard.stages.latch_ticks = 1000 + (number % DIFFERENT) as u16;
    let held = |index: usize| (number >> index & 1 == 0).then(|| held(SETUPS[index], number));
    Kept { settings: (number % 7 != 3).then_some(settings), held: [held(0), held(1), held(2)] }
}

/// What is held for a setup in record `number`.
pub fn held(setup: Setup, number: u64) -> Held {
    let at = |counts: f32| LearnedStop {
        zero_push_counts: counts + number as f32,
        pressed_counts: counts + number as f32 + 20.0,
        released_counts: counts + number as f32 + 9.0,
        compliance_counts_per_a: 18.0,
        repeat_range_counts: 0.5,
        contact: Contact::MinimumFlow,
    };
    let calibration = Calibration {
        closed: at(13_300.0),
        open: at(2600.0),
        setup,
        warmth: Warmth::Cold,
        supply: Volt(12.0),
        temperature: Some(Celsius(23.5)),
        clearance: Opening::saturating(0.01, Opening::CLOSED),
    };
    let origin = Origin {
        tag: OriginTag(u64::MAX - number),
        settings: Settings::DEFAULT.hash(),
        tick: Tick(u32::MAX),
    };
    let standing = if number.is_multiple_of(2) {
        Standing::NotProven { open: CheckSet::ALL }
    } else {
        Standing::Accepted
    };
    Held { relearns: u16::MAX, ..Held::of_full_learn(calibration, standing, origin) }
}

/// A plain 64-bit mixer (splitmix64, S. Vigna, public domain), so that the sequences are fixed.
pub struct Mixer(pub u64);

impl Mixer {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }
}
