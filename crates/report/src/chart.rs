use std::fmt::Write;

/// A closed outline on a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Eccentricity and meridian in degrees of the retinal frame; the meridian runs counter-clockwise from 3 o'clock as the
    /// observer sees the fundus.
    pub points: Vec<[f64; 2]>,
    /// How it is drawn.
    pub kind: Kind,
}

/// What an outline stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A landmark.
    Ring,
    /// A frame that is usable.
    Usable,
    /// A frame with reservations, or one that is not usable: its line is broken.
    Other,
    /// What was asked for and is not there.
    Due,
}

impl Kind {
    /// The drawing's attributes: told by line and filling, for a paper may be grey.
    const fn style(self) -> &'static str {
        match self {
            Self::Ring => r##"fill="none" stroke="#9aa5a9" stroke-width="0.6""##,
            Self::Usable => r##"fill="#3f7f86" stroke="#2d6a71" stroke-width="1""##,
            Self::Other => r##"fill="none" stroke="#2d6a71" stroke-width="0.9" stroke-dasharray="4 2.5""##,
            Self::Due => r##"fill="none" stroke="#7a5200" stroke-width="1.1" stroke-dasharray="1.2 2.4""##,
        }
    }
}

/// Half the drawing's side, degrees: the ora, which reaches farthest on the temporal side, and a rim.
const HALF: f64 = 132.0;

/// A chart as SVG: polar about the fovea, equal degrees outwards, clock hours round it.
///
/// ```
/// let svg = serrata_report::chart_svg(&[]);
/// assert!(svg.starts_with("<svg") && svg.contains(">12<"));
/// ```
#[must_use]
pub fn chart_svg(outlines: &[Outline]) -> String {
    let mut out = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="{0} {0} {1} {1}" font-family="Libertinus Serif" font-size="9">"#,
        -HALF,
        2.0 * HALF
    );
    // Many outlines on one another stay a tint, through which rings and lines are seen.
    let usable = outlines.iter().filter(|o| o.kind == Kind::Usable).count().max(1);
    #[allow(clippy::cast_precision_loss)] // some frames
    let opacity = (0.4 / usable as f64).min(0.13);
    let place = |[r, m]: [f64; 2]| (r * m.to_radians().cos(), -r * m.to_radians().sin());
    for o in outlines {
        let mut path = String::new();
        for (k, p) in o.points.iter().enumerate() {
            let (x, y) = place(*p);
            // Writing into a String cannot fail.
            let _ = write!(path, "{}{x:.1} {y:.1}", if k == 0 { "M" } else { "L" });
        }
        let _ = write!(out, r#"<path d="{path}Z" {} fill-opacity="{opacity:.3}"/>"#, o.kind.style());
    }
    for hour in 1..=12u8 {
        let (x, y) = place([126.0, 90.0 - 30.0 * f64::from(hour)]);
        let _ = write!(
            out,
            r##"<text x="{x:.1}" y="{:.1}" text-anchor="middle" fill="#555">{hour}</text>"##,
            y + 3.0
        );
    }
    out + r##"<path d="M-3 0H3M0 -3V3" stroke="#333" stroke-width="0.8"/></svg>"##
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twelve_is_up_and_three_is_right() {
        let at = |r: f64, m: f64| chart_svg(&[Outline { points: vec![[r, m]], kind: Kind::Ring }]);
        assert!(at(50.0, 90.0).contains("M0.0 -50.0Z"));
        assert!(at(50.0, 0.0).contains("M50.0 -0.0Z") || at(50.0, 0.0).contains("M50.0 0.0Z"));
    }
}
