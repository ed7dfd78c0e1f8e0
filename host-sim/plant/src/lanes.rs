//! Several worlds side by side: logarithm, exponential, sine and cosine without branches, and structs that
//! lie field by field across lanes.
//!
//! In: finite numbers, above 0 for the logarithm, between −700 and 700 for the exponential. Out: results
//! within 4 units in the last place of libm's (sine and cosine: of 1), the same bits on every machine. Plain arithmetic and no
//! branches, so that the compiler can put lanes into one register; a lane has the bits that it would have alone.

/// Worlds that go side by side: two of the widest registers, so that one computes while the other waits for
/// a division.
pub const WIDTH: usize = 16;

/// Lanes that can all move on together.
pub(crate) trait Lanes {
    /// Moves every lane on, `dt` s at a time; inlined, so that it is compiled for each kind of register.
    fn go_on(&mut self, dt: f64);
}

/// Moves lanes on in the widest registers of the processor at hand. Every kind of register gives the same
/// bits: a lane's arithmetic is never reordered, nor are products and sums fused.
pub(crate) fn go_on_in_widest_registers(lanes: &mut impl Lanes, dt: f64) {
    pulp::Arch::new().dispatch(Going { lanes, dt });
}

struct Going<'a, L> {
    lanes: &'a mut L,
    dt: f64,
}

impl<L: Lanes> pulp::WithSimd for Going<'_, L> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _registers: S) {
        self.lanes.go_on(self.dt);
    }
}

/// A struct of numbers, and the same struct with every field across [`WIDTH`] lanes.
macro_rules! laned {
    ($(#[$doc:meta])* struct $name:ident across $lanes:ident { $($(#[$field_doc:meta])* $field:ident,)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Default)]
        pub(crate) struct $name { $($(#[$field_doc])* pub(crate) $field: f64,)* }

        #[derive(Debug, Clone, Copy, Default)]
        pub(crate) struct $lanes { $($field: [f64; $crate::lanes::WIDTH],)* }

        impl $lanes {
            #[inline(always)]
            pub(crate) fn at(&self, lane: usize) -> $name {
                $name { $($field: self.$field[lane],)* }
            }

            #[inline(always)]
            pub(crate) fn put(&mut self, lane: usize, value: &$name) {
                $(self.$field[lane] = value.$field;)*
            }
        }
    };
}
pub(crate) use laned;

/// A number held between two others; unlike `clamp` without a panic, which lanes cannot have.
#[inline(always)]
pub(crate) fn held(x: f64, least: f64, most: f64) -> f64 {
    smaller(larger(x, least), most)
}

/// The larger of two numbers, the second where one is not a number: one instruction, unlike `max`.
#[inline(always)]
pub(crate) fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The smaller of two numbers, the second where one is not a number.
#[inline(always)]
pub(crate) fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// The nearest whole number, halves to the even one, as `rint` has it.
#[inline(always)]
pub(crate) fn nearest(x: f64) -> f64 {
    /// From this size on a double is a whole number; adding it to a smaller one leaves only the whole.
    const WHOLE: f64 = (1_u64 << 52) as f64;
    let whole = ((x.abs() + WHOLE) - WHOLE).copysign(x);
    if x.abs() < WHOLE { whole } else { x }
}

const LN2_HIGH: f64 = 0.693_147_180_369_123_8;
const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
/// Bits of √½: splits numbers into 2^e × m with m in √½ … √2.
const ROOT_HALF_BITS: u64 = 0x3fe6_a09e_667f_3bcd;
/// 1.5 × 2^52: adding it rounds to an integer, which then stands in the lowest bits.
const ROUNDER: f64 = 6_755_399_441_055_744.0;

/// 1 over each number, with one division for all of them; their product is to stay within a double's range.
/// A division keeps a register's divider busy for as long as eight products do.
#[inline(always)]
pub(crate) fn inverses<const N: usize>(x: [f64; N]) -> [f64; N] {
    let (mut product, mut result) = (1.0, [1.0; N]);
    for k in 0..N {
        result[k] = product;
        product *= x[k];
    }
    let mut inverse = 1.0 / product;
    for k in 0..N {
        result[N - 1 - k] *= inverse;
        inverse *= x[N - 1 - k];
    }
    result
}

/// Natural logarithms, with one division for all of them.
#[inline(always)]
pub(crate) fn ln<const N: usize>(x: [f64; N]) -> [f64; N] {
    let (mut exponents, mut mantissas, mut sums, mut result) = ([0; N], [0.0; N], [0.0; N], [0.0; N]);
    for k in 0..N {
        let bits = x[k].to_bits();
        exponents[k] = (bits.wrapping_sub(ROOT_HALF_BITS) as i64) >> 52;
        mantissas[k] = f64::from_bits(bits.wrapping_sub((exponents[k] as u64) << 52));
        sums[k] = mantissas[k] + 1.0;
    }
    let inverses = inverses(sums);
    for k in 0..N {
        // ln m = 2 artanh s, s = (m − 1)/(m + 1), |s| < 0.172: the first term left out is 2e-17.
        let s = (mantissas[k] - 1.0) * inverses[k];
        let w = s * s;
        let w2 = w * w;
        let w4 = w2 * w2;
        let low = (1.0 / 3.0 + w * (1.0 / 5.0)) + w2 * (1.0 / 7.0 + w * (1.0 / 9.0));
        let high = (1.0 / 11.0 + w * (1.0 / 13.0)) + w2 * (1.0 / 15.0 + w * (1.0 / 17.0));
        let tail = 1.0 / 19.0 + w * (1.0 / 21.0);
        let series = low + w4 * (high + w4 * tail);
        let halvings = exponents[k] as f64;
        result[k] = halvings * LN2_HIGH + (2.0 * s + (2.0 * s * w * series + halvings * LN2_LOW));
    }
    result
}

/// Exponentials.
#[inline(always)]
pub(crate) fn exp<const N: usize>(x: [f64; N]) -> [f64; N] {
    let mut result = [0.0; N];
    for (result, x) in result.iter_mut().zip(x) {
        let shifted = x * core::f64::consts::LOG2_E + ROUNDER;
        let k = shifted - ROUNDER;
        let r = (x - k * LN2_HIGH) - k * LN2_LOW;
        // Taylor to the 12th power on |r| < 0.347: the first term left out is 2e-16 of the sum.
        let r2 = r * r;
        let r4 = r2 * r2;
        let a = (1.0 + r) + r2 * (1.0 / 2.0 + r * (1.0 / 6.0));
        let b = (1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0 + r * (1.0 / 5_040.0));
        let c =
            (1.0 / 40_320.0 + r * (1.0 / 362_880.0)) + r2 * (1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0));
        let series = a + r4 * (b + r4 * (c + r4 * (1.0 / 479_001_600.0)));
        const ONE_BITS: u64 = 1023 << 52;
        *result = series * f64::from_bits((shifted.to_bits() << 52).wrapping_add(ONE_BITS));
    }
    result
}

/// Sines and cosines of turns from −½ to ½: of 2π times the number.
#[inline(always)]
pub(crate) fn sine_and_cosine_of_turns<const N: usize>(turns: [f64; N]) -> ([f64; N], [f64; N]) {
    let (mut sines, mut cosines) = ([0.0; N], [0.0; N]);
    for lane in 0..N {
        // A quarter of the angle, at most π/4: the first terms left out of Taylor's series are 1e-17.
        let x = turns[lane] * core::f64::consts::FRAC_PI_2;
        let w = x * x;
        let (w2, w4) = (w * w, (w * w) * (w * w));
        let low = (-1.0 / 6.0 + w * (1.0 / 120.0)) + w2 * (-1.0 / 5_040.0 + w * (1.0 / 362_880.0));
        let high = (-1.0 / 39_916_800.0 + w * (1.0 / 6_227_020_800.0)) + w2 * (-1.0 / 1_307_674_368_000.0);
        let s = x + x * w * (low + w4 * high);
        let low = (-1.0 / 2.0 + w * (1.0 / 24.0)) + w2 * (-1.0 / 720.0 + w * (1.0 / 40_320.0));
        let high = (-1.0 / 3_628_800.0 + w * (1.0 / 479_001_600.0))
            + w2 * (-1.0 / 87_178_291_200.0 + w * (1.0 / 20_922_789_888_000.0));
        let c = 1.0 + w * (low + w4 * high);
        // Twice doubled.
        let (s, c) = (2.0 * s * c, 1.0 - 2.0 * s * s);
        (sines[lane], cosines[lane]) = (2.0 * s * c, 1.0 - 2.0 * s * s);
    }
    (sines, cosines)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]
        #[test]
        fn whole_numbers_are_those_of_libm(bits in any::<u64>(), near in -1e6_f64..1e6) {
            for x in [f64::from_bits(bits), near, libm::rint(near) + 0.5] {
                prop_assert_eq!(nearest(x).to_bits(), libm::rint(x).to_bits(), "{}", x);
            }
        }

        #[test]
        fn exponentials_agree_with_libm(x in -40.0_f64..40.0) {
            let (got, expected) = (exp([x])[0], libm::exp(x));
            prop_assert!((got / expected - 1.0).abs() < 9e-16, "exp {x}: {got} against {expected}");
        }

        #[test]
        fn sines_and_cosines_agree_with_libm(turns in -0.5_f64..0.5) {
            let ([sine], [cosine]) = sine_and_cosine_of_turns([turns]);
            let (expected_sine, expected_cosine) = libm::sincos(turns * core::f64::consts::TAU);
            prop_assert!((sine - expected_sine).abs() < 2e-15, "{turns}: {sine} against {expected_sine}");
            prop_assert!((cosine - expected_cosine).abs() < 2e-15, "{turns}: {cosine} against {expected_cosine}");
        }

        #[test]
        fn inverses_agree_with_divisions(x in proptest::array::uniform3(1e-6_f64..1e6)) {
            for (got, x) in inverses(x).into_iter().zip(x) {
                prop_assert!((got * x - 1.0).abs() < 1e-15, "1/{x}: {got}");
            }
        }

        #[test]
        fn logarithms_agree_with_libm(x in 1e-6_f64..1e6, near in 0.99_f64..1.01) {
            for x in [x, near] {
                let (got, expected) = (ln([x])[0], libm::log(x));
                prop_assert!((got - expected).abs() <= 9e-16 * expected.abs(), "ln {x}: {got} against {expected}");
            }
        }
    }
}
