//! Kinds of picture.

crate::words! {
    /// The kind of picture, by its light and dye.
    Modality("modality") {
        /// Colour, also two-laser colour (blue empty).
        Colour = "colour",
        /// Autofluorescence.
        Faf = "faf",
        /// Fluorescein angiography.
        Fa = "fa",
        /// Indocyanine green angiography.
        Icg = "icg",
        /// Infrared reflectance.
        Infrared = "infrared",
        /// The red laser's channel alone.
        Red = "red",
        /// The green laser's channel alone.
        Green = "green",
    }
}

impl Modality {
    /// The kind as screens write it. Example: `Modality::Faf.screen()` is `"Autofluorescence (FAF)"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::Colour => "Colour",
            Self::Faf => "Autofluorescence (FAF)",
            Self::Fa => "Fluorescein (FA)",
            Self::Icg => "Indocyanine green (ICG)",
            Self::Infrared => "Infrared",
            Self::Red => "Red channel",
            Self::Green => "Green channel",
        }
    }

    /// Whether the picture shows injected dye, so that vessels are bright and dark retina is still retina.
    #[must_use]
    pub const fn is_dye(self) -> bool {
        matches!(self, Self::Fa | Self::Icg)
    }
}
