//! Serrata: a simulated eye and scanner, with the truth about each frame.
