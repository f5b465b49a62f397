//! Value noise out of a hash: the same number for the same place and seed, with no state to share between threads.

/// 32 random bits for a lattice point.
fn bits(x: i32, y: i32, z: i32, seed: u32) -> u32 {
    #[allow(clippy::cast_sign_loss)] // the bits are hashed, the sign does not matter
    let mut h = (x as u32)
        .wrapping_mul(0x8da6_b343)
        .wrapping_add((y as u32).wrapping_mul(0xd816_3841))
        .wrapping_add((z as u32).wrapping_mul(0xcb1a_b31f))
        .wrapping_add(seed.wrapping_mul(0x9e37_79b9));
    h ^= h >> 15;
    h = h.wrapping_mul(0x2c1b_3c6d);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297a_2d39);
    h ^ (h >> 15)
}

/// A number from 0 to 1 for a lattice point.
#[allow(clippy::cast_precision_loss)] // 24 bits fit
fn lattice(x: i32, y: i32, z: i32, seed: u32) -> f32 {
    (bits(x, y, z, seed) >> 8) as f32 / 16_777_216.0
}

/// A number of mean 0 and standard deviation 1 for a pixel, near enough to normal: four bytes added.
pub(crate) fn bell(x: u32, y: u32, seed: u32) -> f32 {
    #[allow(clippy::cast_possible_wrap)] // picture sides
    let h = bits(x as i32, y as i32, 0, seed);
    #[allow(clippy::cast_possible_wrap, clippy::cast_precision_loss)] // at most 1020
    let sum = ((h & 255) + (h >> 8 & 255) + (h >> 16 & 255) + (h >> 24)) as i32 as f32;
    // Four uniform bytes: mean 510, variance 4·(256² − 1)/12.
    (sum - 510.0) * (1.0 / 147.8)
}

/// [`bell`] along a row of pixels.
pub(crate) fn bells(y: u32, seed: u32, out: &mut [f32]) {
    for (x, o) in (0u32..).zip(out) {
        *o = bell(x, y, seed);
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss)] // lattice coordinates are small
fn cell(v: f32) -> (i32, f32) {
    // Rounds down without a call into the mathematics library.
    let near = v as i32;
    let i = near - i32::from(near as f32 > v);
    let t = v - i as f32;
    (i, t * t * (3.0 - 2.0 * t))
}

fn mix(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// Smooth noise over the plane, −1 to 1, with features of size 1.
pub(crate) fn flat(x: f32, y: f32, seed: u32) -> f32 {
    let ((i, u), (j, v)) = (cell(x), cell(y));
    let a = mix(lattice(i, j, 0, seed), lattice(i + 1, j, 0, seed), u);
    let b = mix(lattice(i, j + 1, 0, seed), lattice(i + 1, j + 1, 0, seed), u);
    2.0 * mix(a, b, v) - 1.0
}

/// [`flat`] for places asked one after the other: it keeps the last cell's corners, so that neighbours in a cell need no
/// hash.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patch {
    seed: u32,
    cell: Option<[i32; 2]>,
    corners: [f32; 4],
}

impl Patch {
    pub const fn new(seed: u32) -> Self {
        Self { seed, cell: None, corners: [0.0; 4] }
    }

    /// The same as `flat(x, y, seed)`.
    pub fn at(&mut self, x: f32, y: f32) -> f32 {
        let ((i, u), (j, v)) = (cell(x), cell(y));
        if self.cell != Some([i, j]) {
            self.cell = Some([i, j]);
            self.corners =
                [[i, j], [i + 1, j], [i, j + 1], [i + 1, j + 1]].map(|[i, j]| lattice(i, j, 0, self.seed));
        }
        let [a, b, c, d] = self.corners;
        2.0 * mix(mix(a, b, u), mix(c, d, u), v) - 1.0
    }
}

/// Smooth noise over space, −1 to 1, with features of size 1.
pub(crate) fn solid(p: [f32; 3], seed: u32) -> f32 {
    let ((i, u), (j, v), (k, w)) = (cell(p[0]), cell(p[1]), cell(p[2]));
    let at = |a, b, c| lattice(i + a, j + b, k + c, seed);
    let near = mix(mix(at(0, 0, 0), at(1, 0, 0), u), mix(at(0, 1, 0), at(1, 1, 0), u), v);
    let far = mix(mix(at(0, 0, 1), at(1, 0, 1), u), mix(at(0, 1, 1), at(1, 1, 1), u), v);
    2.0 * mix(near, far, w) - 1.0
}

/// Octaves of [`solid`], each of half the size and half the strength; about −1 to 1.
pub(crate) fn cloud(p: [f32; 3], scale: f32, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut f, mut a) = (0.0, scale, 0.6);
    for o in 0..octaves {
        sum += a * solid(p.map(|c| c * f + 31.7), seed.wrapping_add(o * 101));
        f *= 2.03;
        a *= 0.5;
    }
    sum
}

/// 0 below `a`, 1 above `b`, smooth between.
pub(crate) fn ramp(a: f32, b: f32, v: f32) -> f32 {
    let t = ((v - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bell_has_mean_0_and_variance_1() {
        let v: Vec<f32> = (0..20_000).map(|i| bell(i % 200, i / 200, 9)).collect();
        let mean = v.iter().sum::<f32>() / 20_000.0;
        let var = v.iter().map(|x| x * x).sum::<f32>() / 20_000.0;
        assert!(mean.abs() < 0.02 && (var - 1.0).abs() < 0.03, "{mean} {var}");
    }

    #[test]
    fn a_patch_is_flat_noise() {
        let mut patch = Patch::new(5);
        for k in 0..900u32 {
            let (x, y) = ((k % 30) as f32 * 0.31 - 4.0, (k / 30) as f32 * 0.17 - 2.0);
            assert_eq!(patch.at(x, y), flat(x, y, 5), "{x} {y}");
        }
    }

    #[test]
    fn noise_is_bounded_centred_and_changes_with_the_seed() {
        let at = |i: u32, seed| cloud([i as f32 * 0.37, i as f32 * 0.11, 0.5], 1.7, 4, seed);
        let values: Vec<f32> = (0..4000).map(|i| at(i, 1)).collect();
        assert!(values.iter().all(|v| v.abs() <= 1.2));
        assert!((values.iter().sum::<f32>() / 4000.0).abs() < 0.1);
        assert!((0..4000).any(|i| (at(i, 2) - values[i as usize]).abs() > 0.2));
    }
}
