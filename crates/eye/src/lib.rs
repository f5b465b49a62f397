//! The sphere of the eye: directions, projections, great circles, areas, footprints, and millimetres with their
//! uncertainty.
//!
//! Two frames of reference, both a unit sphere seen from its centre along +z by the observer of the fundus:
//! * **view frame**: +z to the point at which the picture's projection is centred, +x right and +y up in the picture;
//! * **retinal frame**: +z to the fovea, +x to 3 o'clock and +y to 12 o'clock as the observer sees the fundus.
//!
//! Every angle is an *eye angle*, at the sphere's centre; visual angles occur only as [`VisualAngle`], and turn into
//! eye angles only through a named model ([`DrasdoFowler`]).
//!
//! * [`Direction`], [`angle_between`], [`path_length_rad`]: points on the sphere and great circles;
//! * [`Stereographic`]: picture to sphere and back, in the form of DICOM PS3.3 C.8.17.11;
//! * [`Projection`], [`Plane`]: five azimuthal projections and an instrument's own, about any centre;
//! * [`Rotation`]: from the view frame to the retinal frame ([`Rotation::from_landmarks`], [`Rotation::from_gaze`]);
//! * [`RetinalPoint`]: eccentricity and meridian, clock hour, nasal and temporal;
//! * [`region_area_sr`], [`polygon_area_sr`]: areas in steradians;
//! * [`Picture`], [`Measure`]: lengths and areas of any picture whose projection is known, with everything they assume;
//! * [`Radius`]: half of an axial length, and where that comes from;
//! * [`outline`]: a region of a picture as rings on the retina;
//! * [`Footprint`]: the part of the retina that frames show, on an equal-area grid: union, area, reach.
//!
//! Not here: pixels, files, and what a picture shows.
//!
//! ```
//! use serrata_eye::{EyeAxis, Measure, Radius, Spread, Stereographic};
//! use serrata_words::{Eye, Gaze};
//! // A picture of 4000 × 4000 pixels whose centre pixel spans 0.05°: the middle of its right edge lies 82.22° out.
//! let picture = Stereographic { width: 4000, height: 4000, deg_per_px: [0.05, 0.05] };
//! let edge = picture.to_direction([4000.0, 2000.0]);
//! assert!((edge.z().acos().to_degrees() - 82.220_105_723).abs() < 1e-9);
//! // And in millimetres on an eye of 24 mm axial length:
//! let path = [[2000.0, 2000.0], [4000.0, 2000.0]];
//! let spread = Spread::of_path(&picture.into(), &path, EyeAxis::of(Gaze::Primary, Some(Eye::R))).unwrap();
//! let length = Measure::length(edge.z().acos(), spread, 0.0, Radius::from_axial_length(24.0));
//! assert!((length.value - 17.220_138_674).abs() < 1e-9);
//! ```

mod area;
mod axis;
mod direction;
mod footprint;
mod gaze;
mod landmarks;
mod measure;
mod model;
mod outline;
mod profile;
mod projection;
mod radial;
mod radius;
mod retina;
mod retinal;
mod ring;
mod rotation;
mod spread;
mod stereographic;
mod uncertainty;

pub use area::{cap_area_sr, polygon_area_sr, region_area_sr};
pub use axis::EyeAxis;
pub use direction::{Direction, angle_between, path_length_rad};
pub use footprint::{Footprint, FootprintBytesError, PixelMask, QuadrantReach, Sector};
pub use gaze::GazeTurn;
pub use landmarks::{Landmark, LandmarkShare};
pub use measure::{Picture, area_jitter_sr, bearing_rad, corner_angle_rad, path_jitter_rad};
pub use model::{
    DrasdoFowler, EyeAngle, ModelError, VisualAngle, axial_length, bennett_mm_per_degree,
    contact_lens_warning,
};
pub use outline::{Outlines, densify, outline};
pub use profile::ProfileError;
pub use projection::{DomainError, Plane, Projection};
pub use radial::{RadialError, RadialPolynomial};
pub use radius::{Radius, RadiusSource};
pub use retinal::{HorizontalSide, RetinalPoint};
pub use ring::{RingError, check_points, check_ring};
pub use rotation::{GAZE_DEG, Rotation};
pub use spread::Spread;
pub use stereographic::Stereographic;
pub use uncertainty::{Measure, Quantity};
