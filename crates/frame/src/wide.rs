//! Loops over planes with the widest instructions that the processor has.

/// Runs a call as the processor at hand does it fastest: where it has AVX2 in code built for that, else in the plain one.
///
/// The result is the same to the last bit, for nothing is contracted or reordered. What is called has to be
/// `#[inline(always)]`, so that it becomes part of the code that is built for the wider instructions.
///
/// ```
/// #[inline(always)]
/// fn twice(v: &mut [f32]) {
///     v.iter_mut().for_each(|v| *v *= 2.0);
/// }
/// let mut v = [1.0, 2.5];
/// serrata_frame::wide!(twice(&mut v));
/// assert_eq!(v, [2.0, 5.0]);
/// ```
#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
#[macro_export]
macro_rules! wide {
    ($work:expr) => {
        // Two calls and not one closure: a closure that is called twice would be no part of either.
        match $crate::wide::avx2() {
            Some(at_hand) => $crate::wide::Simd::vectorize(at_hand, || $work),
            None => $work,
        }
    };
}

/// Elsewhere the plain code is the fastest.
#[cfg(not(any(target_arch = "x86", target_arch = "x86_64")))]
#[macro_export]
macro_rules! wide {
    ($work:expr) => {
        $work
    };
}

#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
pub use fearless_simd::Simd;

/// The right to use AVX2, where the processor has it.
#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
#[must_use]
pub fn avx2() -> Option<fearless_simd::x86::Avx2> {
    fearless_simd::Level::new().as_avx2()
}
