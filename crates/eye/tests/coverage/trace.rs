//! A chief ray through a schematic eye, both ways from the middle of its pupil.
//!
//! Radii, thicknesses and indices of the Navarro type (`../shared/reference/published.md` §1.3, read in PAROS
//! `fundscale.py`). That eye is paraxial; the asphericities −0.26, 0, −3.1316, −1 of its wide-angle form are from memory
//! (Escudero-Sanz & Navarro, J Opt Soc Am A 1999;16:1881) and nowhere read.

/// Vertex (mm behind the cornea's), radius, asphericity, index before and behind: of cornea and lens, front and back.
#[derive(Clone, Copy)]
pub struct Optics([[f64; 5]; 4]);

impl Optics {
    pub const NAVARRO: Self = Self([
        [0.0, 7.72, -0.26, 1.0, 1.3777],
        [0.55, 6.50, 0.0, 1.3777, 1.3391],
        [3.60, 10.20, -3.1316, 1.3391, 1.4222],
        [7.60, -6.00, -1.0, 1.4222, 1.3377],
    ]);

    /// The textbooks' eye that the intervals' `TRACED` comes from; its cornea has one surface only.
    pub const GULLSTRAND_EMSLEY: Self = Self([
        [0.0, 7.80, 0.0, 1.0, 4.0 / 3.0],
        [0.5, 6.90, 0.0, 4.0 / 3.0, 4.0 / 3.0],
        [3.60, 10.0, 0.0, 4.0 / 3.0, 1.416],
        [7.20, -6.00, 0.0, 1.416, 4.0 / 3.0],
    ]);

    /// Both radii of the cornea larger by a factor.
    pub fn flatter(mut self, factor: f64) -> Self {
        self.0[0][1] *= factor;
        self.0[1][1] *= factor;
        self
    }

    /// The lens's back flatter by a factor.
    pub fn weaker(mut self, factor: f64) -> Self {
        self.0[3][1] *= factor;
        self
    }

    /// The lens, and the pupil with it, farther back by so many mm.
    pub fn deeper(mut self, mm: f64) -> Self {
        self.0[2][0] += mm;
        self.0[3][0] += mm;
        self
    }
}

type Pair = [f64; 2];

/// Where a ray meets a surface y² + (1+Q)·s² = 2·R·s nearest to its vertex, ahead of the ray.
fn meet(p: Pair, d: Pair, [vertex, r, q, ..]: [f64; 5], farthest: bool) -> Option<Pair> {
    let (s, k) = (p[0] - vertex, 1.0 + q);
    let a = d[1] * d[1] + k * d[0] * d[0];
    let b = 2.0 * (p[1] * d[1] + k * s * d[0] - r * d[0]);
    let c = p[1] * p[1] + k * s * s - 2.0 * r * s;
    let root = (b * b - 4.0 * a * c).sqrt();
    let at = |t: f64| [p[0] + t * d[0], p[1] + t * d[1]];
    let ahead = [(-b - root) / (2.0 * a), (-b + root) / (2.0 * a)].into_iter().filter(|t| *t > 1e-9);
    let found = if farthest {
        ahead.max_by(f64::total_cmp)
    } else {
        ahead.min_by(|x, y| (at(*x)[0] - vertex).abs().total_cmp(&(at(*y)[0] - vertex).abs()))
    };
    found.map(at)
}

/// Snell's law at a point of a surface; `None` where the ray is thrown back.
fn bend(p: Pair, d: Pair, [vertex, r, q, ..]: [f64; 5], from: f64, to: f64) -> Option<Pair> {
    let n = [(1.0 + q) * (p[0] - vertex) - r, p[1]];
    let l = n[0].hypot(n[1]);
    let c = (d[0] * n[0] + d[1] * n[1]) / l;
    let n = n.map(|x| x / l * c.signum());
    let m = from / to;
    let under = 1.0 - m * m * (1.0 - c * c);
    (under > 0.0).then(|| {
        let f = under.sqrt() - m * c.abs();
        [m * d[0] + f * n[0], m * d[1] + f * n[1]]
    })
}

/// An ellipsoid of revolution about the axis: half-axes across and along, its back at `axial` mm.
#[derive(Clone, Copy)]
pub struct Ellipsoid {
    pub across: f64,
    pub along: f64,
}

impl Ellipsoid {
    /// Distance along the meridian from the back, for parametric angles of 0.5° each.
    pub fn arcs(self) -> Vec<(f64, f64)> {
        let step = 0.5f64.to_radians();
        let speed = |t: f64| (self.across * t.cos()).hypot(self.along * t.sin());
        let mut at = vec![(0.0, 0.0)];
        for k in 0..320 {
            let t = f64::from(k) * step;
            at.push((t + step, at[at.len() - 1].1 + step * speed(t + step / 2.0)));
        }
        at
    }
}

/// Visual angle (radians) and mm along the retina for rays of 0 to 89.5° in the pupil, in steps of 0.5°: as far as rays can
/// go. They end some 107° off the axis in the field. (The lens is taken to be wide enough: at the end they meet its back
/// 5.1 mm from the axis.)
pub fn curve(optics: Optics, axial: f64, retina: Ellipsoid) -> Vec<(f64, f64)> {
    let surfaces = optics.0;
    let arcs = retina.arcs();
    // The vertex radius and the asphericity of the ellipse.
    let (r, q) = (retina.across.powi(2) / retina.along, (retina.across / retina.along).powi(2) - 1.0);
    let mut all = vec![(0.0, 0.0)];
    for k in 1..180 {
        let (s, c) = (f64::from(k) * 0.5).to_radians().sin_cos();
        let one = || {
            let start = [surfaces[2][0], 0.0];
            let (mut p, mut d) = (start, [-c, s]);
            for f in [surfaces[1], surfaces[0]] {
                p = meet(p, d, f, false)?;
                d = bend(p, d, f, f[4], f[3])?;
            }
            let visual = d[1].atan2(-d[0]);
            let d = bend(start, [c, -s], surfaces[2], surfaces[2][3], surfaces[2][4])?;
            let p = meet(start, d, surfaces[3], false)?;
            let d = bend(p, d, surfaces[3], surfaces[3][3], surfaces[3][4])?;
            let p = meet(p, d, [axial, -r, q, 0.0, 0.0], true)?;
            let t = (-p[1] / retina.across).atan2(1.0 - (axial - p[0]) / retina.along);
            Some((visual, between(&arcs, t)))
        };
        match one() {
            Some(x) if x.0.is_finite() && x.1.is_finite() && x.0 > all[all.len() - 1].0 => all.push(x),
            _ => break,
        }
    }
    all
}

/// Straight lines through rising points, the last one prolonged.
pub fn between(points: &[(f64, f64)], x: f64) -> f64 {
    let k = points.partition_point(|p| p.0 < x).clamp(1, points.len() - 1);
    let ((x0, y0), (x1, y1)) = (points[k - 1], points[k]);
    y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}

#[test]
fn the_traced_eye_is_the_published_one_near_its_axis() {
    // PAROS, Navarro's eye: 0.28742 mm a degree at an axial length of 23.92 mm (`../shared/reference/published.md` §1.3).
    let c = curve(Optics::NAVARRO, 23.9203, Ellipsoid { across: 12.0, along: 12.0 });
    let slope = c[2].1 / c[2].0.to_degrees();
    assert!((slope / 0.28742 - 1.0).abs() < 0.01, "{slope}");
    let turned: Vec<_> = c.iter().map(|p| (p.1, p.0)).collect();
    assert!(turned.windows(2).all(|w| w[0].0 < w[1].0) && c[c.len() - 1].0.to_degrees() > 105.0);
}

/// The table in `src/retina.rs`, every 10° from 10 to 100°.
#[test]
fn the_ray_of_the_intervals_is_the_traced_one() {
    let c = curve(Optics::GULLSTRAND_EMSLEY, 23.89, Ellipsoid { across: 12.0, along: 12.0 });
    let table = [2.881, 5.739, 8.550, 11.289, 13.927, 16.430, 18.750, 20.811, 22.463, 23.393];
    for (k, mm) in (1..).zip(table) {
        let got = between(&c, f64::from(k * 10).to_radians());
        assert!((got - mm).abs() < 0.01, "{k}: {got} {mm}");
    }
}
