use super::MontageError;
use serrata_assemble::Pose;
use serrata_words::{AssemblyLine, Placement, Point};

/// The pose of a frame that was placed.
///
/// # Errors
/// [`MontageError::Frame`] for a name that is not there, or a frame that was not placed.
pub fn pose(line: &AssemblyLine, name: &str) -> Result<Pose, MontageError> {
    let wrong = |what: String| MontageError::Frame { name: name.to_owned(), what };
    let frame = line.frames.iter().find(|f| f.name == name).ok_or_else(|| {
        let known: Vec<&str> = line.frames.iter().map(|f| f.name.as_str()).collect();
        wrong(format!("is no frame of this assembly; its frames are {}", known.join(", ")))
    })?;
    match (frame.status, frame.rotation, &frame.shape) {
        (Placement::Placed, Some(q), Some(shape)) => Pose::from_words(frame.width, frame.height, q, shape)
            .ok_or_else(|| wrong("its pose makes no sense; make the assembly again".to_owned())),
        _ => Err(wrong(format!("is {} in this assembly, so no point can be carried over", frame.status))),
    }
}

/// Where a point of one frame lies in another, pixels; none where it is outside of either picture.
///
/// Example: the same frame twice gives the point back.
#[must_use]
pub fn carry(from: &Pose, to: &Pose, p: Point) -> Option<Point> {
    let there = to.to_frame(from.to_sphere(p));
    (from.holds(p) && to.holds(there)).then_some(there)
}
