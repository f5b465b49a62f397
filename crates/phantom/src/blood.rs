//! How much red and green light a vessel lets pass.

/// Molar extinction of haemoglobin with and without oxygen, cm⁻¹ per mol/l, at 532 nm and about 635 nm (mean of 634 and 636):
/// Prahl's tables after Gratzer and Kollias (omlc.org/spectra/hemoglobin).
const EXTINCTION: [[f32; 2]; 2] = [[43_876.0, 40_584.0], [495.6, 4_666.6]];
/// Haemoglobin of whole blood in mol/l: 150 g/l, 64 500 g/mol (the same page).
const HAEMOGLOBIN: f32 = 150.0 / 64_500.0;
/// What the cells scatter out of the red beam, a mm: judgement, so that veins and arteries of real frames have the red
/// contrast that they have.
const SCATTERED: f32 = 0.5;
/// Share of the green light that comes back from before the column, from the nerve fibres, the wall and the cells: judgement,
/// so that the vessels of a picture of 1200 pixels have the contrast in green that those of clear real frames have at theirs.
const BEFORE: f32 = 0.20;
/// Longest way through a vessel that a stroke can hold, mm: a stroke of full strength.
const LONGEST: f32 = 0.25;
/// Width of what blurs a vessel on its way to the detector, mm: it mixes a thin one with its ground (judgement).
const BLUR: f32 = 0.035;

/// Blood of one kind: what it takes up, a mm of way, in red and in green.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Blood([f32; 2]);

/// Oxygen saturation in retinal arteries 92 % and veins 56 %: Hardarson & Stefánsson 2012, from memory.
pub(crate) const ARTERY: Blood = Blood::of(0.92);
/// Blood of the veins.
pub(crate) const VEIN: Blood = Blood::of(0.56);

impl Blood {
    const fn of(saturation: f32) -> Self {
        let [[g1, g0], [r1, r0]] = EXTINCTION;
        // Natural logarithm of ten, and mm out of cm.
        let k = std::f32::consts::LN_10 * HAEMOGLOBIN / 10.0;
        let less = 1.0 - saturation;
        Self([k * (saturation * r1 + less * r0) + SCATTERED, k * (saturation * g1 + less * g0)])
    }

    /// Shares of red and green light that pass a stroke of this strength (see [`path`]). Red light goes through the column and
    /// comes back through it; green comes back beside it, as it does from vessels no wider than light spreads in the tissue
    /// (single pass: Delori 1988, from memory).
    pub fn passes(self, stroke: f32) -> [f32; 2] {
        if stroke <= 0.0 {
            return [1.0; 2];
        }
        let way = stroke * LONGEST;
        [(-2.0 * self.0[0] * way).exp(), BEFORE + (1.0 - BEFORE) * (-self.0[1] * way).exp()]
    }
}

/// Strength of a stroke for a vessel of that half calibre in mm: its mean way through the column, as the blur leaves it.
pub(crate) fn path(half_mm: f32) -> f32 {
    let wide = 2.0 * half_mm;
    // The mean chord of a round column is π/4 of its width.
    (std::f32::consts::FRAC_PI_4 * wide * wide / (wide + BLUR) / LONGEST).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arteries_nearly_vanish_in_red_and_both_are_dark_in_green() {
        let dark = |b: Blood, mm: f32| b.passes(path(mm / 2.0)).map(|v| 1.0 - v);
        let (a, v) = (dark(ARTERY, 0.11), dark(VEIN, 0.15));
        assert!(a[0] < 0.16 && v[0] > 2.0 * a[0], "{a:?} {v:?}");
        assert!(a[1] > 0.45 && (a[1] / v[1] - 1.0).abs() < 0.15, "{a:?} {v:?}");
        // Of one width they differ in red only.
        let (a, v) = (dark(ARTERY, 0.1), dark(VEIN, 0.1));
        assert!(v[0] > 1.6 * a[0] && (a[1] - v[1]).abs() < 0.02, "{a:?} {v:?}");
        assert!(dark(ARTERY, 0.02)[1] < dark(ARTERY, 0.1)[1] && ARTERY.passes(0.0) == [1.0; 2]);
    }
}
