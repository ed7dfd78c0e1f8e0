//! Classic fourth-order Runge–Kutta with a fixed step.

/// One step of `dt` from `x`; `rate(stage, x)` gives dx/dt, where `stage` is the share of the step gone by.
#[inline(always)]
pub fn rk4<const N: usize>(x: [f64; N], dt: f64, rate: impl Fn(f64, &[f64; N]) -> [f64; N]) -> [f64; N] {
    let k1 = rate(0.0, &x);
    let k2 = rate(0.5, &along(&x, 0.5 * dt, &k1));
    let k3 = rate(0.5, &along(&x, 0.5 * dt, &k2));
    let k4 = rate(1.0, &along(&x, dt, &k3));
    combined(&x, dt, [k1, k2, k3, k4])
}

/// The end of a step from the slopes of its four stages.
#[inline(always)]
pub(super) fn combined<const N: usize>(x: &[f64; N], dt: f64, slopes: [[f64; N]; 4]) -> [f64; N] {
    let [k1, k2, k3, k4] = slopes;
    let sixth = dt * (1.0 / 6.0);
    core::array::from_fn(|i| x[i] + sixth * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]))
}

/// A point that lies `by` along a slope.
#[inline(always)]
pub(super) fn along<const N: usize>(x: &[f64; N], by: f64, slope: &[f64; N]) -> [f64; N] {
    core::array::from_fn(|i| x[i] + by * slope[i])
}
