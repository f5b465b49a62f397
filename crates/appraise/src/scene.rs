//! The working planes that every step of the observation looks at.

use crate::{filter, mask::Mask, stamp};
use serrata_frame::{Frame, Plane};
use serrata_words::Modality;

/// Longest side of the working plane in pixels. Retinal vessels of the second order are then still two pixels
/// wide in an ultra-widefield picture of 120° and more, and one plane takes half a megapixel.
pub(crate) const LONGEST: u32 = 860;

/// A frame shrunk to its working size.
pub(crate) struct Scene<'a> {
    pub(crate) frame: &'a Frame,
    pub(crate) modality: Modality,
    /// Frame pixels along one working pixel.
    pub(crate) factor: f64,
    /// Brightness, 0 to 1: the channel in which vessels show best (green of colour pictures, else the grey).
    pub(crate) detail: Plane,
    /// Brightness of the stronger of red and green, or the grey.
    pub(crate) value: Plane,
    /// Red, where the picture has colours.
    pub(crate) red: Option<Plane>,
    /// The part of the picture that the instrument fills.
    pub(crate) aperture: Mask,
    /// Painted-over patches.
    pub(crate) painted: Mask,
}

impl<'a> Scene<'a> {
    pub(crate) fn new(frame: &'a Frame, modality: Modality) -> Self {
        let mut working = frame.working(LONGEST);
        let factor = f64::from(working.factor);
        let (detail, value, red) = if working.channels.len() == 3 {
            let green = working.channels.swap_remove(1);
            let red = working.channels.swap_remove(0);
            let data = red.data.iter().zip(&green.data).map(|(r, g)| r.max(*g)).collect();
            let value = Plane { width: green.width, height: green.height, data };
            let detail = if modality == Modality::Red { red.clone() } else { green };
            (detail, value, Some(red))
        } else {
            let grey = working.channels.swap_remove(0);
            (grey.clone(), grey, None)
        };
        let aperture = aperture(frame, &value, working.factor, if modality.is_dye() { 0.002 } else { 0.012 });
        let painted = Mask::new(value.width, value.height, false);
        let mut scene = Self { frame, modality, factor, detail, value, red, aperture, painted };
        scene.painted = stamp::painted(&scene);
        scene
    }

    pub(crate) fn width(&self) -> usize {
        self.value.width
    }

    pub(crate) fn height(&self) -> usize {
        self.value.height
    }

    /// The longer side in working pixels: the unit of all lengths that are not told in disc diameters.
    pub(crate) fn long(&self) -> f32 {
        self.width().max(self.height()) as f32
    }
}

/// What the instrument fills: everything but uncovered pixels and black that hangs together with the border.
///
/// Black is below 1.2 % of full scale in the smoothed picture: above the ringing of JPEG, below the darkest retina of
/// the frames it was looked at with. In dye pictures, whose dark floor is inside, it is below half a grey level.
fn aperture(frame: &Frame, value: &Plane, factor: u32, black: f32) -> Mask {
    let calm = filter::box_mean(value, 2);
    let half = factor / 2;
    let limit = black;
    let black = Mask::from_fn(value.width, value.height, |x, y| {
        let (fx, fy) = (x as u32 * factor + half, y as u32 * factor + half);
        calm.at(x, y) < limit || !frame.coverage.at(fx, fy)
    });
    // Narrow dark cracks (lash shadows, the rim between lid and retina) do not let the outside in.
    let reach = (value.width.max(value.height) / 160).max(1);
    let solid = filter::box_mean(&Plane::from_fn(value.width, value.height, |x, y| f32::from(u8::from(black.at(x, y)))), reach);
    let core = Mask::from_fn(value.width, value.height, |x, y| solid.at(x, y) > 0.999).connected_to_border();
    let core = Plane::from_fn(value.width, value.height, |x, y| f32::from(u8::from(core.at(x, y))));
    let grown = filter::box_mean(&core, reach);
    let outside = Mask::from_fn(value.width, value.height, |x, y| black.at(x, y) && grown.at(x, y) > 0.0);
    outside.inverse()
}
