//! Where the patient looks, in the patient's own right and left (DICOM CID 4201).

crate::words! {
    /// The commanded direction of gaze. Right and left are the patient's, as in DICOM PS3.16 CID 4201.
    Gaze("gaze") {
        /// Straight ahead.
        Primary = "primary",
        /// Up.
        Up = "up",
        /// Down.
        Down = "down",
        /// To the patient's right.
        Right = "right",
        /// To the patient's left.
        Left = "left",
        /// Up and to the patient's right.
        UpRight = "up_right",
        /// Up and to the patient's left.
        UpLeft = "up_left",
        /// Down and to the patient's right.
        DownRight = "down_right",
        /// Down and to the patient's left.
        DownLeft = "down_left",
    }
}

impl Gaze {
    /// The gaze as screens write it. Example: `Gaze::Primary.screen()` is `"straight ahead"`.
    #[must_use]
    pub const fn screen(self) -> &'static str {
        match self {
            Self::Primary => "straight ahead",
            Self::Up => "looking up",
            Self::Down => "looking down",
            Self::Right => "looking to the patient's right",
            Self::Left => "looking to the patient's left",
            Self::UpRight => "looking up and to the patient's right",
            Self::UpLeft => "looking up and to the patient's left",
            Self::DownRight => "looking down and to the patient's right",
            Self::DownLeft => "looking down and to the patient's left",
        }
    }
}
