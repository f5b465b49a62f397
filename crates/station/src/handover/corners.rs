use serrata_frame::Frame;

/// Width and height of a corner, as shares of the picture (judgement: where cameras write).
const CORNER: [f64; 2] = [0.30, 0.14];
/// A step between neighbours that is a stroke's edge, of the full range; a JPEG's own noise is far below.
const EDGE: f32 = 0.35;
/// Edges in one row, and such rows, that make it writing: three letters have a dozen edges, the rim of a picture has one or two.
const EDGES: usize = 8;
const ROWS: usize = 6;

/// Longest side that is looked at, pixels: noise of single pixels is averaged out, letters that people can read are not (judgement).
const LONGEST: u32 = 1200;

/// The corner in which there is writing, if there is any; a warning for people, no reading of it.
///
/// Writing is told by many sharp edges in many rows: vessels and the rim of the aperture have few and soft ones.
#[must_use]
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // pixels
pub fn writing_in_a_corner(frame: &Frame) -> Option<&'static str> {
    let small = frame.working(LONGEST);
    let first = small.channels.first()?;
    let [cw, ch] = [(first.width as f64 * CORNER[0]) as usize, (first.height as f64 * CORNER[1]) as usize];
    let value = |x: usize, y: usize| small.channels.iter().map(|c| c.at(x, y)).fold(0.0f32, f32::max);
    let places = [
        ("top left", 0, 0),
        ("top right", first.width - cw, 0),
        ("bottom left", 0, first.height - ch),
        ("bottom right", first.width - cw, first.height - ch),
    ];
    places.into_iter().find_map(|(name, left, top)| {
        let written = |y: &usize| {
            let edges = (left + 1..left + cw).filter(|x| (value(*x, *y) - value(x - 1, *y)).abs() > EDGE);
            edges.take(EDGES).count() == EDGES
        };
        ((top..top + ch).filter(written).take(ROWS).count() == ROWS).then_some(name)
    })
}
