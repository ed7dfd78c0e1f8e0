//! The noise of all sensors of one world: standard normal draws, the same bits on every machine.
//!
//! In: a seed. Out: eight draws for each sample. A draw depends on the seed, the number of the sample and its
//! place only, whatever else was drawn. Draws are made for several samples at once, in lanes.
//!
//! Bits by SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014),
//! normal by Box and Muller ("A note on the generation of random normal deviates", Annals of Mathematical
//! Statistics 29, 1958). From 32 bits: no draw is further out than 6.8 standard deviations.

use crate::lanes::{self, WIDTH};

/// Draws for a sample: one for each sensor, and one to spare, as they come in pairs.
pub(crate) const DRAWS: usize = 8;
const PAIRS: usize = DRAWS / 2;
/// Samples whose draws are made at once: a pair to a lane.
const SAMPLES: u64 = (WIDTH / PAIRS) as u64;

/// A source of noise.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Noise {
    key: u64,
    samples: u64,
    ready: Ready,
}

/// Draws made ahead, a pair in each lane.
#[derive(Debug, Clone, PartialEq)]
struct Ready {
    ones: [f64; WIDTH],
    others: [f64; WIDTH],
}

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        let ready = Ready { ones: [0.0; WIDTH], others: [0.0; WIDTH] };
        Self { key: mixed(seed), samples: 0, ready }
    }

    /// The draws of the next sample.
    #[inline]
    pub(crate) fn draw(&mut self) -> [f64; DRAWS] {
        let place = self.samples % SAMPLES;
        if place == 0 {
            let first = self.samples.wrapping_mul(PAIRS as u64);
            let first = self.key.wrapping_add(first.wrapping_mul(GOLDEN));
            pulp::Arch::new().dispatch(Filling { ready: &mut self.ready, first });
        }
        self.samples = self.samples.wrapping_add(1);
        let from = place as usize * PAIRS;
        core::array::from_fn(|k| {
            let half = if k < PAIRS { &self.ready.ones } else { &self.ready.others };
            half[from + k % PAIRS]
        })
    }
}

/// SplitMix64's step.
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// SplitMix64's output for a state.
#[inline(always)]
fn mixed(state: u64) -> u64 {
    let z = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// 32 bits as the middle of their part of 0 … 1: never 0, never 1.
#[inline(always)]
fn within_unit(bits: u64) -> f64 {
    /// A double whose last bits count ones.
    const COUNTER: f64 = (1_u64 << 52) as f64;
    const PART: f64 = 1.0 / (1_u64 << 32) as f64;
    let whole = f64::from_bits(COUNTER.to_bits() | bits) - COUNTER;
    (whole + 0.5) * PART
}

struct Filling<'a> {
    ready: &'a mut Ready,
    first: u64,
}

impl pulp::WithSimd for Filling<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _registers: S) {
        let (mut share, mut turn) = ([0.0; WIDTH], [0.0; WIDTH]);
        for lane in 0..WIDTH {
            let bits = mixed(self.first.wrapping_add((lane as u64).wrapping_mul(GOLDEN)));
            share[lane] = within_unit(bits >> 32);
            turn[lane] = within_unit(bits & u64::from(u32::MAX)) - 0.5;
        }
        let (sine, cosine) = lanes::sine_and_cosine_of_turns(turn);
        for lane in 0..WIDTH {
            let [logarithm] = lanes::ln([share[lane]]);
            let radius = (-2.0 * logarithm).sqrt();
            (self.ready.ones[lane], self.ready.others[lane]) = (radius * cosine[lane], radius * sine[lane]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    fn draws(samples: usize) -> Vec<[f64; DRAWS]> {
        let mut noise = Noise::new(7);
        (0..samples).map(|_| noise.draw()).collect()
    }

    /// Against statrs' normal distribution: the largest distance between the two cumulated shares, with the
    /// bound that chance passes once in a million (Kolmogorov, √(ln(2/1e-6)/2) = 2.69 over √n).
    #[test]
    fn draws_are_normal() {
        let normal = Normal::new(0.0, 1.0).unwrap();
        let mut all: Vec<f64> = draws(50_000).into_iter().flatten().collect();
        all.sort_by(f64::total_cmp);
        let n = all.len() as f64;
        let off = all.iter().enumerate().map(|(k, x)| ((k as f64 + 0.5) / n - normal.cdf(*x)).abs());
        let furthest = off.fold(0.0, f64::max) * n.sqrt();
        assert!(furthest < 2.69, "{furthest}");
        let beyond_4 = all.iter().filter(|x| x.abs() > 4.0).count() as f64;
        let expected = n * 2.0 * normal.cdf(-4.0);
        assert!((beyond_4 - expected).abs() < 5.0 * expected.sqrt(), "{beyond_4} of {expected}");
    }

    #[test]
    fn draws_of_a_sample_and_of_neighbouring_samples_have_nothing_to_do_with_one_another() {
        let all = draws(100_000);
        for (a, b, later) in (0..DRAWS).flat_map(|a| (0..DRAWS).flat_map(move |b| [(a, b, 0), (a, b, 1)])) {
            if later == 0 && a >= b {
                continue;
            }
            let sum: f64 = all.iter().zip(&all[later..]).map(|(x, y)| x[a] * y[b]).sum();
            let correlation = sum / all.len() as f64;
            assert!(correlation.abs() < 5.0 / (all.len() as f64).sqrt(), "{a} {b} {later}: {correlation}");
        }
    }

    /// SplitMix64's first outputs from state 0, as Vigna's public-domain C gives them, after one step (value
    /// from memory; the same stands in the tests of general-purpose generator libraries).
    #[test]
    fn bits_are_those_of_splitmix64() {
        assert_eq!(mixed(GOLDEN), 0xe220_a839_7b1d_cdaf);
        assert_eq!(mixed(GOLDEN.wrapping_mul(2)), 0x6e78_9e6a_a1b9_65f4);
    }

    #[test]
    fn narrow_registers_give_the_same_bits() {
        let mut wide = Noise::new(3);
        let got = wide.draw();
        let mut ready = wide.ready.clone();
        pulp::WithSimd::with_simd(Filling { ready: &mut ready, first: wide.key }, pulp::Scalar);
        assert_eq!(ready, wide.ready);
        assert_eq!(got[0].to_bits(), ready.ones[0].to_bits());
    }
}
