//! Which eye.

crate::words! {
    /// The eye, from the patient's side of things.
    Eye("eye") {
        /// The right eye.
        R = "R",
        /// The left eye.
        L = "L",
    }
}

impl Eye {
    /// The eye as screens and papers write it. Example: `Eye::L.screen()` is `"Left eye (OS)"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::R => "Right eye (OD)",
            Self::L => "Left eye (OS)",
        }
    }

    /// The fellow eye. Example: `Eye::R.fellow()` is `Eye::L`.
    #[must_use]
    pub const fn fellow(self) -> Self {
        match self {
            Self::R => Self::L,
            Self::L => Self::R,
        }
    }
}
