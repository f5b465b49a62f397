//! Serrata: the sphere of the eye: directions, projections, distances and areas.
