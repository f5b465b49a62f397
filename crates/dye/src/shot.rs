use serrata_assemble::{Lens, Source, Vessels};
use serrata_eye::Stereographic;
use serrata_frame::{Frame, Pixels, PixelsError, Plane, Samples};
use serrata_words::Modality;

/// Longest side of the pictures that a run is read from, pixels.
pub const SIDE: u32 = 720;

/// A frame of a dye run, made small.
#[derive(Debug, Clone)]
pub struct Shot {
    /// Its name.
    pub name: String,
    /// Seconds since the injection began; none where nobody knows.
    pub seconds: Option<f64>,
    /// Fluorescein or indocyanine green; another kind is left out of the analysis.
    pub modality: Modality,
    /// The picture, 0 to 1.
    pub(crate) plane: Plane,
    /// How many pixels of the frame a pixel of it spans.
    pub factor: f64,
    pub(crate) lens: Lens,
    pub(crate) vessels: Vessels,
}

impl Shot {
    /// Makes a frame small; the frame is not needed afterwards.
    ///
    /// `lens`: of the frame as it was. Example: a frame of 3600 × 3600 pixels is kept as 720 × 720.
    ///
    /// # Errors
    /// Never in practice: where the small picture's samples do not fill it.
    pub fn new(
        name: String,
        frame: &Frame,
        modality: Modality,
        seconds: Option<f64>,
        lens: Lens,
    ) -> Result<Self, PixelsError> {
        let small = frame.working(SIDE);
        // A dye picture stored in three channels is grey; of a colour picture green shows the vessels.
        let plane = small
            .channels
            .into_iter()
            .reduce(|a, b| if b.data.iter().sum::<f32>() > a.data.iter().sum() { b } else { a });
        let plane = plane.unwrap_or_else(|| Plane::new(1, 1, 0.0));
        let factor = f64::from(small.factor);
        #[allow(clippy::cast_possible_truncation)] // at most the frame's own size
        let (w, h) = (plane.width as u32, plane.height as u32);
        let s = lens.projection;
        let projection = Stereographic { width: w, height: h, deg_per_px: s.deg_per_px.map(|d| d * factor) };
        let lens = Lens { projection, known: lens.known };
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 1
        let samples = plane
            .data
            .iter()
            .map(|v| (v.clamp(0.0, 1.0) * 65535.0).round() as u16)
            .collect::<Vec<u16>>()
            .into();
        let bare = Frame::bare(Pixels::new(w, h, 1, Samples::U16(samples))?);
        let source = Source { frame: &bare, observation: None, modality: Some(modality), lens };
        let vessels = Vessels::of(&source);
        Ok(Self { name, seconds, modality, plane, factor, lens, vessels })
    }

    /// Projection of the small picture; a nominal one where none is known.
    #[must_use]
    pub const fn projection(&self) -> Stereographic {
        self.lens.projection
    }

    /// Width and height of the small picture, pixels.
    #[must_use]
    pub const fn size(&self) -> [usize; 2] {
        [self.plane.width, self.plane.height]
    }

    /// The small picture, 0 to 1, as a frame: for looking at it (disc, visible retina).
    ///
    /// # Errors
    /// Never in practice: where its samples do not fill it.
    pub fn frame(&self) -> Result<Frame, PixelsError> {
        #[allow(clippy::cast_possible_truncation)] // at most SIDE
        let (w, h) = (self.plane.width as u32, self.plane.height as u32);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 1
        let samples = self
            .plane
            .data
            .iter()
            .map(|v| (v.clamp(0.0, 1.0) * 255.0).round() as u8)
            .collect::<Vec<u8>>()
            .into();
        Ok(Frame::bare(Pixels::new(w, h, 1, Samples::U8(samples))?))
    }

    /// The small picture, 0 to 1.
    #[must_use]
    pub const fn plane(&self) -> &Plane {
        &self.plane
    }

    /// Mean brightness, 0 to 1.
    #[allow(clippy::cast_precision_loss)] // a count of pixels
    pub(crate) fn mean(&self) -> f32 {
        self.plane.data.iter().sum::<f32>() / self.plane.data.len().max(1) as f32
    }
}
