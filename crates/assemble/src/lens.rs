use serrata_eye::Stereographic;

/// How a frame's pixels lie on the sphere.
///
/// Where the projection is not known, a stereographic one stands in whose longer side spans [`Lens::NOMINAL`]
/// degrees in the plane; what is then measured in degrees is nominal, and the low-order distortion takes up the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// The projection.
    pub projection: Stereographic,
    /// Whether it is known; false: nominal.
    pub known: bool,
}

impl Lens {
    /// Plane degrees that the longer side spans where nothing is known: about 60° to each side, between a fundus
    /// camera's field and an ultra-widefield one (judgement; the distortion is fitted).
    pub const NOMINAL: f64 = 140.0;

    /// A projection that is known.
    #[must_use]
    pub const fn known(projection: Stereographic) -> Self {
        Self { projection, known: true }
    }

    /// The stand-in for a frame of that size.
    #[must_use]
    pub fn nominal(width: u32, height: u32) -> Self {
        let d = Self::NOMINAL / f64::from(width.max(height).max(1));
        Self { projection: Stereographic { width, height, deg_per_px: [d, d] }, known: false }
    }

    /// Half the longer side in pixels: the unit of the distortion's coordinates.
    pub(crate) fn half(&self) -> f64 {
        f64::from(self.projection.width.max(self.projection.height)) / 2.0
    }

    /// The picture's middle in pixels.
    pub(crate) fn middle(&self) -> [f64; 2] {
        [f64::from(self.projection.width) / 2.0, f64::from(self.projection.height) / 2.0]
    }
}
