//! Loops over planes with AVX2 where the processor has it.

/// Runs a call in code that is built for AVX2 where the processor has that, else in the plain one.
///
/// The result is the same to the last bit, for nothing is contracted or reordered. What is called has to be
/// `#[inline(always)]`, so that it becomes part of the code that is built for AVX2.
///
/// The call is written out twice, once of these inside a closure, and one of the two is run: it may take values away, but
/// `return`, `?` and `break` do not belong in it, for they would leave the closure only.
///
/// ```
/// #[inline(always)]
/// fn twice(v: &mut [f32]) {
///     v.iter_mut().for_each(|v| *v *= 2.0);
/// }
/// let mut v = [1.0, 2.5];
/// serrata_frame::with_avx2!(twice(&mut v));
/// assert_eq!(v, [2.0, 5.0]);
/// ```
#[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
#[macro_export]
macro_rules! with_avx2 {
    ($work:expr) => {
        // Two calls and not one closure: a closure that is called twice would be no part of either.
        match $crate::with_avx2::avx2() {
            Some(at_hand) => $crate::with_avx2::Simd::vectorize(at_hand, || $work),
            None => $work,
        }
    };
}

/// Elsewhere there is the plain code only.
#[cfg(not(any(target_arch = "x86", target_arch = "x86_64")))]
#[macro_export]
macro_rules! with_avx2 {
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
