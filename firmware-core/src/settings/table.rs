//! The fields of a section as rows: their form on the wire, their range, their default.
//!
//! `section!` makes the structure from the rows; reading, writing and checking go through [`WireField`], without knowing
//! which section it is. Names of fields serve people: nothing that a board runs asks for them.

use serde::Deserialize;
use serde::de::{Error, SeqAccess};
use serde::ser::SerializeTuple;

use super::{CountsDirection, LawName, OpeningMap, SetupWindows, SpringAction, StopWindow};
use crate::tables::{MAP_POINTS, Map};
use crate::units::{
    Ampere, Celsius, Counts, Duty, Kilopascal, Load, Opening, OutOfRange, Rpm, Volt, is_within,
};

/// Smallest and largest value of a row.
pub(super) type AllowedRange = [f32; 2];

/// Narrowest and widest window of a stop, counts.
const WINDOW_WIDTH: AllowedRange = [1.0, 8000.0];

/// Makes a section from its rows: `name: type = default, from smallest, to largest;`. A bound may name a field above,
/// through the word after `as`; a list may be `rising by` a step, in thousandths so that a field's place takes no more than
/// two words of the stack.
macro_rules! section {
    ($(#[$doc:meta])* pub struct $name:ident $(as $it:ident)? {
        $($(#[$says:meta])* $field:ident: $type:ty = $default:expr
            $(, from $min:expr, to $max:expr $(, rising by $step:literal thousandths)?)?;)*
    }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[serde(default, deny_unknown_fields)]
        pub struct $name {
            $($(#[$says])*
            #[doc = concat!("\n\nDefault `", stringify!($default), "`", $(
                "; allowed `", stringify!($min), "` to `", stringify!($max), "`",)? ".")]
            pub $field: $type,)*
        }

        impl $name {
            /// The defaults.
            pub const DEFAULT: Self = Self { $($field: $default),* };
            /// Names of the rows.
            pub(super) const FIELDS: &[&str] = &[$(stringify!($field)),*];

            /// Hands over every row's place and range.
            #[inline]
            pub(super) fn with_rows(&mut self, job: &mut dyn FnMut(&mut [WireField<'_>], &[AllowedRange])) {
                $(let $it = &*self;)?
                let ranges = [$(section!(@range $($min, $max)?)),*];
                job(&mut [$(self.$field.place()$($(.rising_by($step))?)?),*], &ranges);
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::DEFAULT
            }
        }
    };
    (@range) => { [0.0, 0.0] };
    (@range $min:expr, $max:expr) => { [$min, $max] };
}
pub(super) use section;

/// Where a field lies, by its form on the wire.
pub(super) enum WireField<'a> {
    Real(&'a mut f32),
    List(&'a mut [f32; MAP_POINTS]),
    /// Each at least so many thousandths above the one before.
    Rising(&'a mut [f32; MAP_POINTS], u16),
    Map(&'a mut Map<f32>),
    Opening(&'a mut Opening),
    Duty(&'a mut Duty),
    Load(&'a mut Load),
    Short(&'a mut u16),
    Long(&'a mut u32),
    Counts(&'a mut Counts),
    Direction(&'a mut CountsDirection),
    Spring(&'a mut SpringAction),
    Windows(&'a mut SetupWindows),
    Law(&'a mut LawName),
}

/// What may be a field of a section.
pub(super) trait OnWire {
    fn place(&mut self) -> WireField<'_>;
}

macro_rules! fields {
    ($($type:ty: $it:ident => $place:expr;)*) => {
        $(impl OnWire for $type {
            #[inline]
            fn place(&mut self) -> WireField<'_> {
                let $it = self;
                $place
            }
        })*
    };
}
fields! {
    f32: it => WireField::Real(it);
    Kilopascal: it => WireField::Real(&mut it.0);
    Volt: it => WireField::Real(&mut it.0);
    Ampere: it => WireField::Real(&mut it.0);
    Celsius: it => WireField::Real(&mut it.0);
    Rpm: it => WireField::Real(&mut it.0);
    Opening: it => WireField::Opening(it);
    Duty: it => WireField::Duty(it);
    Load: it => WireField::Load(it);
    u16: it => WireField::Short(it);
    u32: it => WireField::Long(it);
    Counts: it => WireField::Counts(it);
    CountsDirection: it => WireField::Direction(it);
    SpringAction: it => WireField::Spring(it);
    [f32; MAP_POINTS]: it => WireField::List(it);
    OpeningMap: it => WireField::Map(&mut it.0);
    SetupWindows: it => WireField::Windows(it);
    LawName: it => WireField::Law(it);
}

impl<'a> WireField<'a> {
    /// A list as one that rises.
    #[inline]
    pub(super) fn rising_by(self, thousandths: u16) -> Self {
        if let Self::List(points) = self { Self::Rising(points, thousandths) } else { self }
    }

    /// Takes the field from the wire.
    #[inline]
    pub(super) fn read<'de, A: SeqAccess<'de>>(&mut self, wire: &mut A) -> Result<(), A::Error> {
        match self {
            Self::Real(to) => next(wire, *to),
            Self::List(to) | Self::Rising(to, _) => next_of(wire, *to),
            Self::Map(to) => next_of(wire, to.as_flattened_mut()),
            Self::Opening(to) => next(wire, *to),
            Self::Duty(to) => next(wire, *to),
            Self::Load(to) => next(wire, *to),
            Self::Short(to) => next(wire, *to),
            Self::Long(to) => next(wire, *to),
            Self::Counts(to) => next(wire, *to),
            Self::Direction(to) => next(wire, *to),
            Self::Spring(to) => next(wire, *to),
            Self::Windows(to) => next(wire, *to),
            Self::Law(to) => next(wire, *to),
        }
    }

    /// Puts the field on the wire.
    #[inline]
    pub(super) fn write<S: SerializeTuple>(&self, wire: &mut S) -> Result<(), S::Error> {
        match self {
            Self::Real(it) => wire.serialize_element(*it),
            Self::List(it) | Self::Rising(it, _) => put_all(wire, *it),
            Self::Map(it) => put_all(wire, it.as_flattened()),
            Self::Opening(it) => wire.serialize_element(*it),
            Self::Duty(it) => wire.serialize_element(*it),
            Self::Load(it) => wire.serialize_element(*it),
            Self::Short(it) => wire.serialize_element(*it),
            Self::Long(it) => wire.serialize_element(*it),
            Self::Counts(it) => wire.serialize_element(*it),
            Self::Direction(it) => wire.serialize_element(*it),
            Self::Spring(it) => wire.serialize_element(*it),
            Self::Windows(it) => wire.serialize_element(*it),
            Self::Law(it) => wire.serialize_element(*it),
        }
    }

    /// Refuses what lies outside the range.
    #[inline]
    pub(super) fn check(&self, [min, max]: AllowedRange) -> Result<(), OutOfRange> {
        match self {
            Self::Real(it) => within(**it, min, max),
            Self::List(them) => them.iter().try_for_each(|&it| within(it, min, max)),
            Self::Map(them) => them.iter().flatten().try_for_each(|&it| within(it, min, max)),
            Self::Rising(them, thousandths) => {
                let step = f32::from(*thousandths) / 1000.0;
                let mut least = min;
                them.iter().try_for_each(|&it| {
                    within(it, least, max)?;
                    least = it + step;
                    Ok(())
                })
            }
            Self::Opening(it) => within(it.get(), min, max),
            Self::Duty(it) => within(it.get(), min, max),
            Self::Load(it) => within(it.get(), min, max),
            Self::Short(it) => within(f32::from(**it), min, max),
            #[allow(clippy::cast_precision_loss)] // only compared with small bounds
            Self::Long(it) => within(**it as f32, min, max),
            Self::Counts(it) => within(it.as_f32(), min, max),
            Self::Direction(_) | Self::Spring(_) | Self::Law(_) => Ok(()),
            Self::Windows(it) => {
                let windows = [it.cold.closed, it.cold.open, it.hot.closed, it.hot.open];
                windows.iter().try_for_each(|window| window_within(window, min, max))
            }
        }
    }
}

fn next<'de, A: SeqAccess<'de>, T: Deserialize<'de>>(wire: &mut A, to: &mut T) -> Result<(), A::Error> {
    *to = wire.next_element()?.ok_or_else(|| A::Error::custom("a field is missing"))?;
    Ok(())
}

fn next_of<'de, A: SeqAccess<'de>>(wire: &mut A, to: &mut [f32]) -> Result<(), A::Error> {
    to.iter_mut().try_for_each(|to| next(wire, to))
}

fn put_all<S: SerializeTuple>(wire: &mut S, numbers: &[f32]) -> Result<(), S::Error> {
    numbers.iter().try_for_each(|number| wire.serialize_element(number))
}

/// Refuses a value outside `min ..= max`, NaN included.
#[inline]
pub(crate) fn within(value: f32, min: f32, max: f32) -> Result<(), OutOfRange> {
    if is_within(value, min, max) { Ok(()) } else { Err(OutOfRange { value, min, max }) }
}

fn window_within(window: &StopWindow, min: f32, max: f32) -> Result<(), OutOfRange> {
    let (low, [narrow, wide]) = (window.min.as_f32(), WINDOW_WIDTH);
    within(window.max.as_f32() - low, narrow, wide)?;
    within(low, min, max)
}
