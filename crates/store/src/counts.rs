//! Numbers for the day's board.

/// Numbers for the day's board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Open visits.
    pub visits_open: u64,
    /// Frames without a visit, those set aside left out.
    pub unassigned: u64,
    /// Frames that wait for their check.
    pub waiting: u64,
    /// Frames whose check failed.
    pub failed: u64,
    /// Work items given up.
    pub dead: u64,
}
