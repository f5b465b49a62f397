//! Serrata: what is in a frame's pixels: visible retina, findings, anatomy, eye side, sharpness.
