//! A pose as words, and back.

use crate::pose::{Local, Sway, TERMS};
use crate::{Lens, Pose};
use serrata_eye::{Direction, Rotation, Stereographic};
use serrata_words::{LocalShape, Shape, SwayShape};

impl Pose {
    /// The rotation as a quaternion w, x, y, z with w ≥ 0, from the frame's view frame to the sphere.
    #[must_use]
    pub fn quaternion(&self) -> [f64; 4] {
        let m = self.rotation.rows();
        let trace = m[0][0] + m[1][1] + m[2][2];
        // The largest of the four is found first, so that nothing small is divided by (Shepperd 1978).
        let square =
            [trace, 2.0 * m[0][0] - trace, 2.0 * m[1][1] - trace, 2.0 * m[2][2] - trace].map(|s| 1.0 + s);
        let k = (0..4).max_by(|i, j| square[*i].total_cmp(&square[*j])).unwrap_or(0);
        let r = square[k].max(0.0).sqrt();
        let (x, y, z) = (m[2][1] - m[1][2], m[0][2] - m[2][0], m[1][0] - m[0][1]);
        let (p, q, s) = (m[1][0] + m[0][1], m[2][0] + m[0][2], m[2][1] + m[1][2]);
        let all = match k {
            0 => [square[0], x, y, z],
            1 => [x, square[1], p, q],
            2 => [y, p, square[2], s],
            _ => [z, q, s, square[3]],
        };
        let sign = if all[0] < 0.0 { -0.5 } else { 0.5 };
        all.map(|v| sign * v / r + 0.0)
    }

    /// Everything but the rotation, as words.
    #[must_use]
    pub fn shape(&self) -> Shape {
        Shape {
            degrees_per_pixel: self.lens.projection.deg_per_px,
            known: self.lens.known,
            distortion: self.bend.to_vec(),
            local: self.local.as_ref().map(|l| LocalShape { cells: l.cells, knots: l.knots.clone() }),
            sway: self.sway.as_ref().map(|s| SwayShape { columns: s.columns, knots: s.knots.clone() }),
            degrees_of_freedom: self.degrees_of_freedom,
        }
    }

    /// A pose from words; none where they do not make sense.
    #[must_use]
    pub fn from_words(width: u32, height: u32, quaternion: [f64; 4], shape: &Shape) -> Option<Self> {
        let deg_per_px = shape.degrees_per_pixel;
        if !deg_per_px.iter().all(|d| d.is_finite() && *d > 0.0) || shape.distortion.len() != TERMS {
            return None;
        }
        let lens = Lens { projection: Stereographic { width, height, deg_per_px }, known: shape.known };
        let mut bend = [[0.0; 2]; TERMS];
        bend.copy_from_slice(&shape.distortion);
        let local = match &shape.local {
            Some(l)
                if l.cells.iter().all(|c| (1..100).contains(c))
                    && l.knots.len() == (l.cells[0] + 3) * (l.cells[1] + 3) =>
            {
                Some(Local { cells: l.cells, knots: l.knots.clone() })
            }
            Some(_) => return None,
            None => None,
        };
        let sway = match &shape.sway {
            Some(s) if !(4..200).contains(&s.knots.len()) => return None,
            sway => sway.as_ref().map(|s| Sway { columns: s.columns, knots: s.knots.clone() }),
        };
        let rotation = rotation(quaternion)?;
        Some(Self { lens, rotation, bend, local, sway, degrees_of_freedom: shape.degrees_of_freedom })
    }
}

/// The rotation of a quaternion of any length but zero.
fn rotation([w, x, y, z]: [f64; 4]) -> Option<Rotation> {
    let n = (w * w + x * x + y * y + z * z).sqrt();
    if !(n > 1e-9 && n.is_finite()) {
        return None;
    }
    let (w, x, y, z) = (w / n, x / n, y / n, z / n);
    // What the rotation brings to +z and to +x: the third and the first row of its matrix.
    let pole = Direction::new([2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)])?;
    let right = Direction::new([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (x * z + w * y)])?;
    Rotation::bringing(pole, right, 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_pose_comes_back_from_its_words(m in 0f64..360., t in 0f64..179., u in -179f64..179., b in -0.05f64..0.05, x in 0f64..900., y in 0f64..700.) {
            let mut pose = Pose::turned(Lens::nominal(900, 700), Rotation::tilting(m, t).then(Rotation::turning(u)));
            pose.bend[3] = [b, -b];
            pose.bend[6] = [-b, 0.3 * b];
            pose.sway = Some(Sway { columns: x > y, knots: (0..27).map(|k| [40.0 * b * f64::from(k % 5), b]).collect() });
            let q = pose.quaternion();
            prop_assert!(q[0] >= 0.0 && (q.iter().map(|v| v * v).sum::<f64>() - 1.0).abs() < 1e-9);
            let back = Pose::from_words(900, 700, q, &pose.shape()).unwrap();
            let (p, r) = (pose.to_sphere([x, y]), back.to_sphere([x, y]));
            prop_assert!(serrata_eye::angle_between(p, r) < 1e-9);
            // And the way back to the frame undoes the way there.
            let z = pose.to_frame(p);
            prop_assert!((z[0] - x).hypot(z[1] - y) < 1e-2, "{z:?}");
        }
    }
}
